"""The next step by what it tells: the diagnosis of the plan's circuit leads the way."""

from __future__ import annotations

from handsfree.diagnosis import Belief, Cause, Explanation, Proposal, enough, explain
from handsfree.dialogue import route
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.plan.schema import Finding, Step


def belief(desk: Desk, session: Session) -> Belief | None:
    """What the tests say, those made twice among them; None if the plan has no circuit."""
    if desk.diagnosis is None:
        return None
    return desk.diagnosis.belief(
        (entry.step, entry.take)
        for entry in session.measured
        if desk.plan.step(entry.step).phase == "test"
    )


def explanation(desk: Desk, session: Session) -> Explanation | None:
    """The causes, ranked; None if the plan describes no circuit or nothing is taken."""
    found = belief(desk, session)
    circuit = desk.plan.circuit
    return explain(found, circuit) if found and found.made and circuit else None


def proposal(desk: Desk, session: Session) -> Proposal | None:
    """The test that tells most a minute; None to stop.

    Raises:
        LookupError: the circuit has nothing to say here; the plan's order goes on.
    """
    now = belief(desk, session)
    if desk.diagnosis is None or now is None:
        raise LookupError("no circuit")
    steps = [s for s in route.phase_steps(desk.plan, session) if route.is_open(session, s)]
    order = [s.id for s in steps if s.expect.refers_to in (None, *session.standing)]
    left = desk.diagnosis.next_tests(now, order, session.setups)
    if now.made and enough(now, left):
        return None
    if not left or not left[0].rate:
        raise LookupError("no test of the circuit tells anything")
    return left[0]


def setups_after(desk: Desk, session: Session, step: Step) -> frozenset[str]:
    """The setups that are made once `step` is open."""
    circuit = desk.plan.circuit
    if circuit is None or step.id not in circuit.tests:
        return session.setups
    return circuit.cost(step.id, session.setups)[1]


def cause(desk: Desk, one: Cause) -> str:
    """A cause in words."""
    circuit = desk.plan.circuit
    if one.kind == "no fault" or circuit is None:
        return desk.say("cause_no_fault")
    if one.kind == "none of these":
        return desk.say("cause_none_of_these")
    return f" {desk.say('and')} ".join(circuit.fault(fault).say for fault in one.faults)


def reason(desk: Desk, chosen: Proposal) -> str:
    """Why a test is chosen, in one sentence."""
    minutes = desk.wording.quantity(chosen.minutes)
    if chosen.again:
        return desk.say("why_again", minutes=minutes)
    if chosen.separates is None:
        return desk.say("why_telling", minutes=minutes)
    one, other = (cause(desk, c) for c in chosen.separates)
    key = "why_separates_ready" if chosen.ready else "why_separates"
    ready = ", ".join(chosen.ready)
    return desk.say(key, one=one, other=other, minutes=minutes, ready=ready)


def finding(desk: Desk, found: Explanation) -> Finding | None:
    """The verdict that is computed; None unless the cause is found for sure.

    Causes that no test can tell apart are all named.
    """
    first = found.ranking[0]
    if not found.sure or not first.faults:
        return None
    alike = [c for c in found.group if c.faults] or [first.cause]
    causes = f" {desk.say('or')} ".join(cause(desk, one) for one in alike)
    return Finding(
        part=f" {desk.say('or')} ".join(dict.fromkeys(_parts(desk, one) for one in alike)),
        when={e.test: ("pass", "fail") for e in first.evidence},
        say=desk.say("computed", cause=causes, odds=odds(desk, found.odds)),
        repair=" ".join(dict.fromkeys(fault.repair for fault in first.faults)),
        source="computed from the circuit of the plan",
    )


def _parts(desk: Desk, one: Cause) -> str:
    """What is replaced, in words."""
    circuit = desk.plan.circuit
    faults = [circuit.fault(fault) for fault in one.faults] if circuit else []
    units = dict.fromkeys(fault.unit or fault.say for fault in faults)
    return f" {desk.say('and')} ".join(units)


def odds(desk: Desk, value: float) -> str:
    """Odds in words, as "fifty to one"; at most a thousand to one is claimed."""
    return desk.say("odds", odds=desk.wording.integer(min(999, round(value))))
