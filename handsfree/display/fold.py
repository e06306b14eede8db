"""Events to a view: each event of a job changes what is seen at a glance.

Besides the events of a job (see `handsfree.job`) those of the live loop are understood: `level`
(0 to 1, and whose turn it is) and `microphone`, whose state says whether it is there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any

from handsfree.check import Expected, expected
from handsfree.dialogue import Wording
from handsfree.display.colours import rgb
from handsfree.display.glance import Glance, Mark, Value, Wire
from handsfree.meaning import Observation, Reading, State, Take
from handsfree.plan.schema import Pin, Plan, Step
from handsfree.units import Quantity, quantity

#: The level moves in so many steps, so that a display is redrawn only when it is worth it.
LEVELS = 20
#: Significant digits of a limit.
DIGITS = 4

Event = Mapping[str, Any]


def begin(plan: Plan) -> Glance:
    """The view before the first event."""
    return Glance(plan.title)


def fold(glance: Glance, event: Event, wording: Wording) -> Glance:
    """The view after an event.

    Args:
        glance: the view before.
        event: as it is told by a job or stands in its log; unknown ones change nothing.
        wording: says wires, states and prompts.
    """
    match event["event"]:
        case "level":
            level = round(min(max(float(event["level"]), 0.0), 1.0) * LEVELS) / LEVELS
            return replace(glance, level=level, turn=event.get("turn", ""))
        case "microphone":
            return _microphone(glance, event)
        case "heard":
            return _heard(glance, event)
        case "step":
            return _step(glance, wording, event["step"])
        case "said":
            return _said(glance, wording, event["text"])
        case "asked":
            options = _options(event["candidates"], wording)
            return replace(glance, question=event["text"], options=options, said="")
        case "lesson":
            return _open(replace(glance, question=""), wording, event["step"])
        case "reading":
            return _reading(glance, wording, event)
        case "struck":
            return _struck(glance, event)
        case "verdict" if event.get("withdrawn"):
            return replace(glance, part=None, prompt="")
        case "verdict":
            words = [event.get("say") or wording.plan.no_finding, event.get("repair")]
            if any(step.phase == "after_repair" for step in wording.plan.steps):
                words.append(wording.prompt("await_repair"))
            prompt = " ".join(filter(None, words))
            return replace(_closed(glance), part=event["part"] or "", prompt=prompt)
        case "finished":
            said = glance.said  # how it ended, and what is missing
            return replace(_closed(glance), finished=event["status"], prompt=said, said="")
    return glance


def _microphone(glance: Glance, event: Event) -> Glance:
    match event["state"]:
        case "lost":
            return replace(glance, sound="lost", level=None, turn="")
        case "open" | "back":
            return replace(glance, sound="on")
        case "check" | "overrun" | "mute":
            return replace(glance, said=event["text"])
    return glance


def _heard(glance: Glance, event: Event) -> Glance:
    meaning = event["meaning"]
    paused = glance.paused
    if meaning["kind"] == "command" and meaning["value"] in ("pause", "resume"):
        paused = meaning["value"] == "pause"
    return replace(
        glance,
        heard=meaning.get("text") or event["text"],
        understood=meaning["kind"] != "unclear",
        paused=paused,
        question="",
        options=(),
        said="",
    )


def _said(glance: Glance, wording: Wording, text: str) -> Glance:
    """A guess that is asked for hides what is expected; a prompt is not shown a second time."""
    asks = wording.prompt("ask_guess")
    if asks in text:
        return replace(glance, question=asks, options=(), expected="", said="")
    shown = glance.prompt and glance.prompt in text
    return replace(glance, said="" if shown else text)


def _step(glance: Glance, wording: Wording, step_id: str) -> Glance:
    return _open(replace(glance, question="", options=(), finished=""), wording, step_id)


def _open(glance: Glance, wording: Wording, step_id: str) -> Glance:
    plan = wording.plan
    step = plan.step(step_id)
    condition = plan.condition(step.condition)
    phase = [s.id for s in plan.steps if s.phase == step.phase]
    return replace(
        glance,
        step=step.id,
        number=phase.index(step.id) + 1,
        count=len(phase),
        wires=_wires(wording, step),
        prompt=step.prompt,
        condition=condition.say,
        expected=show_expected(wording, step, expected(step, glance.taken)),
        caution=" ".join(filter(None, (condition.caution, step.caution))),
    )


def _closed(glance: Glance) -> Glance:
    return replace(
        glance,
        step="",
        number=0,
        count=0,
        wires=(),
        condition="",
        expected="",
        caution="",
        question="",
        options=(),
    )


def _reading(glance: Glance, wording: Wording, event: Event) -> Glance:
    step = wording.plan.step(event["step"])
    shown, unit = _shown(event, wording)
    value = Value(
        seq=event["seq"],
        wires=_wires(wording, step),
        step=step.id.replace("_", " "),
        shown=shown,
        unit=unit,
        verdict=event["verdict"],
        distance=_distance(event),
        mark=_mark(event),
    )
    taken = {**glance.taken, step.id: _take(event)}
    return replace(glance, value=value, taken=taken, question="", options=(), said="")


def _struck(glance: Glance, event: Event) -> Glance:
    taken = {step: take for step, take in glance.taken.items() if step != event["step"]}
    value = glance.value
    if value and value.seq == event["struck"]:
        value = replace(value, verdict="struck", distance="", mark="void")
    return replace(glance, value=value, taken=taken)


def _distance(event: Event) -> str:
    if not event["distance"]:
        return ""
    distance = figures(event["distance"])
    return f"{distance} from the limit" if event["verdict"] == "marginal" else f"by {distance}"


def _mark(event: Event) -> Mark:
    if event["verdict"] == "marginal":
        return "marginal"
    if event["outcome"] is None:
        return "none"
    return "pass" if event["outcome"] == "pass" else "fail"


def _shown(event: Event, wording: Wording) -> tuple[str, str]:
    """A value in figures and its unit."""
    if event["over_limit"]:
        return wording.prompt("over_limit"), ""
    if event["measured"] == "state":
        return wording.state(event["value"]), ""
    if event["measured"] == "observation":
        return event["value"], ""
    return figures(event["spoken"] or f"{event['value']:g}"), event["unit"] or ""


def _take(event: Event) -> Take:
    if event["measured"] == "state":
        return State(event["value"])
    if event["measured"] == "observation":
        return Observation(event["value"])
    if event["over_limit"]:
        return Reading(None)
    return Reading(quantity(event["value"], event["unit"]), number=Decimal(event["spoken"]))


def _options(candidates: Sequence[Event], wording: Wording) -> tuple[str, ...]:
    """The candidates in figures; by their pins where the wire is asked for."""
    shown = tuple(_option(candidate, wording) for candidate in candidates)
    pins = [candidate["pin"] for candidate in candidates]
    if len(set(shown)) == 1 and len(set(pins)) > 1:
        return tuple(f"pin {pin}" for pin in pins)
    return shown if len(set(shown)) == len(shown) else ()


def _option(candidate: Event, wording: Wording) -> str:
    if candidate["kind"] == "state":
        return wording.state(candidate["value"])
    if candidate["kind"] == "observation":
        return str(candidate["value"])
    if candidate["over_limit"]:
        return wording.prompt("over_limit")
    return f"{figures(candidate['spoken'])} {candidate['unit']}".strip()


def _wires(wording: Wording, step: Step) -> tuple[Wire, ...]:
    return tuple(_wire(wording, wording.plan.pin(number)) for number in step.pins)


def _wire(wording: Wording, pin: Pin) -> Wire:
    look = tuple(rgb(colour) for colour in (pin.colour, pin.stripe) if colour)
    return Wire(wording.pin(pin), pin.colour, pin.stripe, look, pin.function, pin.number)


def figures(number: str) -> str:
    """A number for a screen, with a true minus sign."""
    return number.replace("-", "−")


def show_expected(wording: Wording, step: Step, wanted: Expected) -> str:
    """What is expected, in figures: "4.8 to 5.2 V", "ground"."""
    if wanted.low is None and wanted.high is None:
        return wording.expected(step, wanted)
    unit = step.measure.base_unit
    low = "" if wanted.low is None else _limit(wanted.low, unit)
    high = "" if wanted.high is None else _limit(wanted.high, unit)
    if low and high:
        return f"{low} to {high} {unit}"
    return f"at least {low} {unit}" if low else f"at most {high} {unit}"


def _limit(limit: Quantity, unit: str) -> str:
    return figures(f"{float(limit.m_as(unit)):.{DIGITS}g}")
