"""What differs in the vehicle at hand, told at the beginning of a planned job.

"Feedback is white with green stripe, pin four": the same as a line of a vehicle's file, and merged
into the plan in the same way, so that nothing of the kind is left over.
"""

from __future__ import annotations

from typing import Any

from handsfree.dialogue.asking import ask, told_in_words
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.moving import begin_tests
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn, join
from handsfree.events import PlanAmended, Question, Spoke
from handsfree.meaning import Telling
from handsfree.plan.amended import MOST_AMENDED
from handsfree.units import show

#: Nominal voltages of a vehicle's supply: 12 V and 24 V by ISO 16750-2, 48 V by ISO 21780 (both
#: from memory); 6 V of old vehicles is common practice, no published source.
SUPPLIES = (6, 12, 24, 48)


def tell_vehicle(desk: Desk, session: Session, told: Telling, *, confirmed: bool = False) -> Turn:
    """Take over what was told, and begin with the first test; or say why not.

    Args:
        desk: the plan and its wording.
        session: where the dialogue stands; no question is open.
        told: what differs.
        confirmed: it was asked about already.
    """
    every = (told, *told.more)
    if (
        session.entries or len(session.told) >= MOST_AMENDED
    ):  # limits and names of what is logged would change behind it
        return _refused(desk, session, desk.say("vehicle_late"))
    if any(map(_odd_supply, every)):
        return _refused(desk, session, desk.say("vehicle_supply", known=_known(desk)))
    if not confirmed and any(_may_be_read(desk, one) for one in every):
        return ask(desk, session, Question("meant", None, meant=told), "vehicle")
    change = _change(desk, every)
    if isinstance(change, str):
        return _refused(desk, session, change)
    said = told_in_words(desk, told)
    try:
        new = desk.amended(change)
    except ValueError as error:
        return _refused(desk, session, desk.say("vehicle_not", why=str(error).replace("; ", ". ")))
    turn = Turn(session).then(PlanAmended(change, anew=True))
    begun = begin_tests(new, turn.session)
    return turn.and_then(begun.led_by([desk.say("vehicle_told", told=said)]))


def _refused(desk: Desk, session: Session, said: str) -> Turn:
    return Turn(session).then(Spoke(join([said, desk.standing_prompt(session)])))


def _odd_supply(told: Telling) -> bool:
    volts = None if told.volts is None else float(told.volts.m_as("V"))
    return told.of == "supply" and volts not in SUPPLIES


def _known(desk: Desk) -> str:
    return ", ".join(desk.wording.integer(volts) for volts in SUPPLIES)


def _may_be_read(desk: Desk, told: Telling) -> bool:
    """Whether a wire is called so, and the voltage may be a reading of it."""
    if told.of == "wire":
        return False
    pins = desk.plan.connector.pins
    return any(told.of in (pin.function, *pin.names) for pin in pins)


def _change(desk: Desk, every: tuple[Telling, ...]) -> dict[str, Any] | str:
    """What was told as a vehicle's file has it; or what to say of two that contradict."""
    change: dict[str, Any] = {}
    wires: dict[str, str] = {}
    for told in every:
        if told.wire is not None and told.of == "wire":
            name = desk.plan.pin(told.wire).function
            if name in wires:
                return desk.say("vehicle_twice", what=name)
            place = f"pin {told.pin}" if told.pin else ""
            wires[name] = f"{told.colour or ''} {place}".strip()
        elif told.volts is not None:
            if told.of in change:
                return desk.say("vehicle_twice", what=told.of)
            change[told.of] = show(told.volts)
    return change | ({"wires": wires} if wires else {})
