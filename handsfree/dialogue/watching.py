"""A watch: what a meter does while the loom is moved, heated or loaded, told as it happens.

What is seen is logged with its time and said back in few words; nothing is judged until the end.
"""

from __future__ import annotations

from dataclasses import replace

from handsfree.check import Refusal, check
from handsfree.dialogue import jack
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.session import Session
from handsfree.dialogue.turn import Turn, join
from handsfree.events import (
    ExcursionSeen,
    ExcursionStruck,
    Spoke,
    Watch,
    WatchBegun,
    WatchEnded,
)
from handsfree.meaning import Command, Reading, Seen
from handsfree.meaning.plain import unit_symbol
from handsfree.plan.schema import NO_OHMMETER, Step
from handsfree.units import fits, quantity


def begin_watch(desk: Desk, session: Session, command: Command) -> Turn:
    """Begin to watch the wire that was named, or that of the open step."""
    if desk.plan.circuit_class in NO_OHMMETER:
        return Turn(session).then(Spoke(desk.say("refused_watch")))
    here = desk.step(session)
    named = [pin for pin in (command.wire, *command.others) if pin is not None]
    if here and here.measure.quantity and set(named) & set(here.pins):
        named = []
    if len(named) > 1:
        pins = f" {desk.say('or')} ".join(desk.wording.pin_number(desk.plan.pin(p)) for p in named)
        return Turn(session).then(Spoke(desk.say("which_pin", pins=pins)))
    step = _step_on(desk, session, named[0]) if named else here
    if not named and (here is None or here.measure.quantity is None or not here.pins):
        return Turn(session).then(Spoke(desk.say("watch_what")))
    pins_watched = step.pins if step else tuple(named)
    wire = " to ".join(desk.plan.pin(pin).wire for pin in pins_watched)
    number = len(session.watches) + 1
    begun = WatchBegun(number, wire, pins_watched, step.id if step else None, session.now)
    turn = Turn(session).then(begun)
    words = [desk.lead_warning(session, step) if step else jack.warning(desk, session)]
    return turn.then(Spoke(join([*words, desk.standing_prompt(turn.session)])))


def _step_on(desk: Desk, session: Session, pin: str) -> Step | None:
    """The step whose unit and limits count for a wire: best under the condition that is set."""
    found = [s for s in desk.plan.steps if pin in s.pins and s.measure.quantity]

    def fitness(step: Step) -> tuple[bool, bool, bool]:
        volts = step.measure.quantity == "voltage"
        return volts, len(step.pins) == 1, step.condition == session.condition

    return max(found, key=fitness, default=None)


def see(desk: Desk, session: Session, seen: Seen, at: float) -> Turn:
    """Log what was seen at `at`, and say it back."""
    watch = session.watch
    assert watch is not None
    event = ExcursionSeen(
        watch=watch.begun.number,
        number=watch.last + 1,
        after=round(max(at - watch.begun.began, 0.0), 2),
        shows=seen.shows,
        approximate=seen.approximate,
    )
    reading = seen.reading
    if reading and reading.value is not None:
        if not _fits(desk, watch, reading):
            value = desk.wording.quantity(reading.value, reading.number)
            return Turn(session).then(Spoke(desk.say("watch_other_unit", value=value)))
        event = replace(
            event,
            value=float(reading.value.magnitude),
            unit=unit_symbol(reading.value),
            spoken=None if reading.number is None else str(reading.number),
        )
    return Turn(session).then(event, Spoke(desk.say("watch_seen", seen=desk.wording.seen(seen))))


def _fits(desk: Desk, watch: Watch, reading: Reading) -> bool:
    """Whether a value is of what is watched, and possible there."""
    value = reading.value
    if value is not None and watch.values and not fits(value, f"{watch.values[0].units}"):
        return False
    if watch.begun.step is None:
        return True
    verdict = check(reading, desk.plan.step(watch.begun.step), desk.plan, {})
    return not isinstance(verdict, Refusal)


def strike_seen(desk: Desk, session: Session) -> Turn:
    """The last that was seen no longer counts."""
    watch = session.watch
    if watch is None or not watch.seen:
        return Turn(session).then(Spoke(desk.say("nothing_to_strike")))
    last = watch.seen[-1]
    struck = Spoke(desk.say("watch_struck"))
    return Turn(session).then(ExcursionStruck(watch.begun.number, last.number), struck)


def end(desk: Desk, session: Session) -> Turn:
    """The watch is over: what was seen, then what is waited for."""
    watch = session.watch
    if watch is None:
        prompt = desk.standing_prompt(session)
        return Turn(session).then(Spoke(desk.say("no_watch", prompt=prompt)))
    ended = watch.end(session.now)
    turn = Turn(session).then(ended)
    said = [seen_in_all(desk, watch, ended), desk.standing_prompt(turn.session)]
    return turn.then(Spoke(join(said)))


def seen_in_all(desk: Desk, watch: Watch, ended: WatchEnded) -> str:
    """What was seen in a watch, in a sentence."""
    say, wording = desk.say, desk.wording
    places = {"wire": what_is_watched(desk, watch), "time": wording.duration(ended.lasted)}
    if not ended.excursions:
        return say("watch_ended_none", **places)
    key = "watch_ended_one" if ended.excursions == 1 else "watch_ended"
    said = say(key, count=wording.integer(ended.excursions), **places)
    if ended.lowest is None or ended.highest is None:
        return f"{said}."
    low, high = (wording.quantity(quantity(v, ended.unit)) for v in (ended.lowest, ended.highest))
    return f"{said}, {say('watch_reach', low=low, high=high)}."


def loose(desk: Desk, session: Session) -> str:
    """What was watched with excursions, in words; empty for none."""
    found = (what_is_watched(desk, one) for one in session.watches if one.moved)
    return f" {desk.say('and')} ".join(dict.fromkeys(found))


def what_is_watched(desk: Desk, watch: Watch) -> str:
    """What is watched, in words."""
    step = watch.begun.step
    if step is not None:
        return desk.wording.step_name(desk.plan.step(step))
    return desk.wording.pin(desk.plan.pin(watch.begun.pins[0]))
