"""Whether a plan knows what an event names: a log may come from anybody."""

from __future__ import annotations

from collections.abc import Iterator
from math import isfinite
from typing import get_args

from handsfree.events.kinds import (
    Asked,
    ConditionSet,
    Event,
    Guessed,
    ReadingCorrected,
    ReadingStruck,
    ReadingTaken,
    StepOpened,
    StepSkipped,
)
from handsfree.events.metering import ExcursionSeen, MeterChecked, RecordImported, WatchBegun
from handsfree.events.telling import DifferenceTold, WireChosen
from handsfree.meaning import Command, SetCondition, State, Take
from handsfree.plan.measure import StateName
from handsfree.plan.schema import Plan
from handsfree.units import fits, quantity


def check_known(event: Event, plan: Plan) -> None:
    """Nothing, if the plan has every step, condition and pin to go to that the event names.

    Raises:
        KeyError: it has no such step, condition or pin.
        ValueError: a state is none that a wire can have, or a value none that a meter shows.
    """
    if isinstance(event, ReadingCorrected):
        event = event.taken
    for step in _steps(event):
        plan.step(step)
    for condition in _conditions(event):
        plan.condition(condition)
    for pin in _pins(event):
        plan.pin(pin)
    if isinstance(event, MeterChecked) and event.value is not None:
        unit = "Ω" if event.part == "leads" else "V"
        if not fits(quantity(event.value, event.unit), unit) or not isfinite(event.value):
            raise ValueError(f"the {event.part} are measured in {unit}")
    if isinstance(event, ExcursionSeen) and event.value is not None:
        quantity(event.value, event.unit)
        if not isfinite(event.value) or not isfinite(event.after):
            raise ValueError("what was seen has no number that a meter shows")
    for take in _takes(event):
        if isinstance(take, State) and take.state not in get_args(StateName):
            raise ValueError(f"{take.state[:40]!r} is no state of a wire")


def _steps(event: Event) -> Iterator[str]:
    match event:
        case StepOpened(step=step) | StepSkipped(step=step) | ReadingStruck(step=step):
            yield step
        case ReadingTaken(entry=entry):
            yield entry.step
        case Guessed(guess=guess):
            yield guess.step
        case WatchBegun(step=str() as step) | RecordImported(step=str() as step):
            yield step
        case Asked(question=question) if question:
            yield from question.steps
            if question.step is not None:
                yield question.step


def _conditions(event: Event) -> Iterator[str]:
    match event:
        case (
            StepOpened(condition=condition)
            | ConditionSet(condition=condition)
            | DifferenceTold(condition=condition)
        ):
            yield condition
        case ReadingTaken(entry=entry):
            yield entry.condition
        case Asked(question=question) if question and isinstance(question.meant, SetCondition):
            yield question.meant.condition


def _pins(event: Event) -> Iterator[str]:
    match event:
        case Asked(question=question) if question and isinstance(question.meant, Command):
            yield from (pin for pin in (question.meant.wire,) if pin is not None)
        case WatchBegun(pins=pins) | DifferenceTold(pins=pins):
            yield from pins
        case WireChosen(pin=str() as pin):
            yield pin


def _takes(event: Event) -> Iterator[Take]:
    match event:
        case ReadingTaken(entry=entry):
            yield entry.take
        case Guessed(guess=guess) if guess.take:
            yield guess.take
        case Asked(candidates=candidates):
            yield from candidates
