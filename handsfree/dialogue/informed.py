"""The next step by what it tells: the diagnosis of the plan's circuit leads the way."""

from __future__ import annotations

from handsfree.diagnosis import Belief, Cause, Explanation, Proposal, conclude, enough, explain
from handsfree.dialogue import route, watching
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.plan.schema import Finding, Outcome, Step


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
    if found is None or not found.made or circuit is None:
        return None
    left = [s.id for s in desk.plan.steps if s.phase == "test" and s.id not in session.standing]
    return explain(found, circuit, left=left)


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


def finding(desk: Desk, session: Session, found: Explanation) -> Finding:
    """The verdict that is computed, in words, with what to do next.

    A part is named as found only if it has been tested itself; else it is a suspicion.  That
    nothing is found here, that it is none of these and that it is not sure are said as well.
    A rule of the plan may have better words for what is found.
    """
    said = found.verdict
    ruled = conclude(desk.plan, session.outcomes)
    borne = ruled is not None and {c.fault.id for c in said.candidates} & set(ruled.faults)
    how_sure = odds(desk, said.odds)
    either = f" {desk.say('or')} "
    faults = either.join(dict.fromkeys(c.fault.say for c in said.candidates))
    part = either.join(dict.fromkeys(c.site for c in said.candidates))
    repair = " ".join(dict.fromkeys(c.fault.repair for c in said.candidates))
    match said.kind:
        case "found" if ruled is not None and borne:
            return ruled.model_copy(update={"faults": ()})
        case "found":
            words = desk.say("computed", cause=faults, odds=how_sure)
        case "suspicion":
            part = ruled.part if ruled is not None and borne else part
            part = desk.say("suspected_part", part=part)
            words = desk.say("suspected", cause=faults, odds=how_sure)
            repair = _test(desk, "own_test", said.next_test)
        case "not sure":
            part = desk.say("not_sure_part")
            words = desk.say("not_sure", causes=faults) if faults else desk.say("not_sure_nothing")
            repair = _test(desk, "parting_test", said.next_test)
        case "no fault":
            part, words = desk.say("no_fault_part"), desk.say("no_fault", odds=how_sure)
            blind = ", ".join(dict.fromkeys(fault.say for fault in said.blind))
            unseen = desk.say("no_fault_blind", blind=blind) if blind else ""
            repair = " ".join(filter(None, (unseen, desk.say("no_fault_next"))))
            if loose := watching.loose(desk, session):  # at rest all is well, moved it is not
                part = desk.say("loose_part", wires=loose)
                words, repair = desk.say("loose", wires=loose), desk.say("loose_next")
        case "none of these":
            part = desk.say("none_of_these_part")
            words = desk.say("none_of_these", odds=how_sure)
            repair = desk.say("none_of_these_next")
    when: dict[str, tuple[Outcome, ...]] = {
        e.test: ("pass", "fail") for e in found.ranking[0].evidence
    }
    source = "computed from the circuit of the plan"
    return Finding(part=part, when=when, say=words, repair=repair, source=source)


def _test(desk: Desk, key: str, step: str | None) -> str:
    """A test by its prompt, or that there is none."""
    return (
        desk.say(f"{key}_none") if step is None else desk.say(key, step=desk.plan.step(step).prompt)
    )


def rule(desk: Desk, session: Session) -> Finding | None:
    """The finding of the plan's rules, if it rests on a step that failed and is not computed.

    What the circuit computes, no rule says better.  But a first step that ends all tests when
    it fails (the battery is too weak to measure anything) speaks for itself.
    """
    found, circuit = conclude(desk.plan, session.outcomes), desk.plan.circuit
    if found is None or circuit is None:
        return found
    first = desk.plan.steps[0]
    if first.on_fail == "finish" and set(found.when) == {first.id}:
        return found
    beyond = [step for step in found.when if step not in circuit.tests]
    failed = [s for s in beyond if session.outcomes.get(s) in ("fail", "low", "high")]
    return found if failed else None


def odds(desk: Desk, value: float) -> str:
    """Odds in words, as "forty nine to one", or "one to three"."""
    more = value >= 1
    number = desk.wording.integer(round(value if more else 1 / max(value, 0.01)))
    return desk.say("odds" if more else "odds_against", odds=number)
