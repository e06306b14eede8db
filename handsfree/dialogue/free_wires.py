"""The wires of a free job, as they are named: two tellings that differ are answered."""

from __future__ import annotations

from dataclasses import replace

from handsfree.dialogue.asking import ask
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn
from handsfree.events import PlanAmended, Question, Spoke, WireChosen
from handsfree.meaning import Telling
from handsfree.plan.schema import Pin
from handsfree.plan.sheet import FreePlan


def name_wire(desk: Desk, session: Session, told: Telling, *, confirmed: bool = False) -> Turn:
    """A wire is named, or one that was named is told otherwise.

    Args:
        desk: the plan so far, and its wording.
        session: where the dialogue stands; no question is open.
        told: what was said of the wire.
        confirmed: it was asked about already.
    """
    if told.of == "wire":
        return _tell_again(desk, session, told)
    if told.of != "new wire" or told.colour is None:
        return Turn(session).then(Spoke(desk.say("free_no_plan")))
    there = pin_at(desk, told.pin) if told.pin else None
    if there is not None and there.wire != told.colour:
        return Turn(session).then(Spoke(_taken(desk, there)))
    alike = [one for one in desk.plan.connector.pins if one.wire == told.colour]
    known = there or (alike[0] if alike and told.pin is None else None)
    if known is not None and not confirmed:  # told once more
        turn = Turn(session).then(WireChosen(known.number))
        return turn.then(Spoke(desk.standing_prompt(turn.session)))
    if alike and not confirmed:
        return ask(desk, session, Question("meant", None, meant=told), "wire")
    label = told.pin or _next_label(desk)
    return _named(desk, session, {"wires": [{"colour": told.colour, "pin": label}]}, label, told)


def _tell_again(desk: Desk, session: Session, told: Telling) -> Turn:
    """A wire that was named is at another pin, or of another colour; only while nothing is read."""
    assert told.wire is not None
    known = desk.plan.pin(told.wire)
    label, colour = told.pin or known.number, told.colour or known.wire
    if (label, colour) == (known.number, known.wire):
        turn = Turn(session).then(WireChosen(label))
        return turn.then(Spoke(desk.standing_prompt(turn.session)))
    if any(known.number in step.pins for step in desk.plan.steps):
        said = desk.say("free_wire_read", wire=desk.wording.pin(known))
        return Turn(session).then(Spoke(said))
    there = pin_at(desk, label)
    if there is not None and there is not known:
        return Turn(session).then(Spoke(_taken(desk, there)))
    change = {"without": [known.number], "wires": [{"colour": colour, "pin": label}]}
    return _named(desk, session, change, label, replace(told, pin=label))


def _named(
    desk: Desk, session: Session, change: dict[str, object], label: str, told: Telling
) -> Turn:
    desk = desk.amended(change)
    turn = Turn(session)
    turn = turn.then(WireChosen(None)) if session.wire is not None else turn
    turn = turn.then(PlanAmended(change), WireChosen(label))
    pin = desk.plan.pin(label)
    look, number = desk.wording.colours(pin), desk.wording.pin_number(pin)
    key = "free_wire" if told.pin else "free_wire_without_pin"
    return turn.then(Spoke(desk.say(key, wire=look, pin=number)))


def just_named(desk: Desk, session: Session) -> Pin | None:
    """The wire that was named last, while nothing came after that."""
    wires = session.told[-1].get("wires") if session.told else None
    if session.wire is None or not wires or session.wire != wires[-1]["pin"]:
        return None
    if any(session.wire in step.pins for step in desk.plan.steps):
        return None
    return desk.plan.pin(session.wire)


def pin_at(desk: Desk, label: str) -> Pin | None:
    """The wire at a pin, large or small letters; None if none was named there."""
    assert isinstance(desk.plan, FreePlan)
    wanted = label.upper()
    return next((one for one in desk.plan.connector.pins if one.number.upper() == wanted), None)


def _taken(desk: Desk, there: Pin) -> str:
    wire, number = desk.wording.colours(there), desk.wording.pin_number(there)
    return desk.say("free_pin_taken", pin=number, wire=wire)


def _next_label(desk: Desk) -> str:
    """A label for a wire whose pin is not told: W1, W2 …"""
    number = 1
    while pin_at(desk, f"W{number}"):
        number += 1
    return f"W{number}"
