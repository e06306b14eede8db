"""Events to a view: each event of a job changes what is seen at a glance.

Besides the events of a job those of the live loop count: how loud it is, and whether the
microphone is there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from handsfree.check import Expected, expected
from handsfree.dialogue import Wording
from handsfree.display.colours import rgb
from handsfree.display.glance import Badge, Glance, Value, WireLook
from handsfree.events import (
    Asked,
    ConditionSet,
    Entry,
    Event,
    Guessed,
    JobFinished,
    MicrophoneChanged,
    Paused,
    Question,
    QuestionClosed,
    ReadingStruck,
    ReadingTaken,
    SoundLevel,
    Spoke,
    StepOpened,
    UtteranceHeard,
    VerdictReached,
    VerdictWithdrawn,
    WatchBegun,
    WatchEnded,
    WireChosen,
    Woken,
)
from handsfree.meaning import Observation, Reading, State, Take, Unclear
from handsfree.meaning.plain import unit_symbol
from handsfree.plan.schema import Pin, Plan, Step
from handsfree.plan.sheet import FreePlan
from handsfree.units import Quantity, show

#: The level moves in so many steps, so that a display is redrawn only when it is worth it.
LEVELS = 20
#: Significant digits of a limit.
LIMIT_DIGITS = 4


def begin(plan: Plan) -> Glance:
    """The view before the first event."""
    return Glance(plan.title)


def fold(glance: Glance, event: Event, wording: Wording) -> Glance:
    """The view after an event.

    Args:
        glance: the view before.
        event: of a job, or of the live loop; others change nothing.
        wording: says wires, states and prompts.
    """
    match event:
        case SoundLevel(level=loud, turn=turn):
            level = round(min(max(loud, 0.0), 1.0) * LEVELS) / LEVELS
            return replace(glance, level=level, turn=turn)
        case MicrophoneChanged():
            return _microphone(glance, event)
        case UtteranceHeard():
            return _heard(glance, event, wording)
        case Paused():
            return replace(glance, paused=True)
        case Woken():
            return replace(glance, paused=False)
        case WireChosen(pin=str() as pin):
            named = wording.plan.pin(pin)
            return replace(
                glance, wires=(_wire(wording, named),), prompt=wording.pin(named), expected=""
            )
        case ConditionSet(condition=condition) if isinstance(wording.plan, FreePlan):
            return replace(glance, condition=wording.plan.condition(condition).say)
        case StepOpened(step=step, untold=untold):
            opened = replace(glance, untold=untold, finished="", options=())
            return _settled(_open(opened, wording, wording.plan.step(step)), wording)
        case Spoke(text=text):
            shown = glance.prompt and glance.prompt in text  # not a second time
            return replace(glance, said="" if shown else text)
        case Asked(text=text, question=Question(kind="several")):
            return replace(glance, question=text, options=(), said="")
        case Asked(text=text, candidates=candidates):
            return replace(glance, question=text, options=_options(candidates, wording), said="")
        case QuestionClosed():
            return _settled(glance, wording)
        case Guessed(guess=guess):
            told = replace(glance, untold=False, question="")
            return _open(told, wording, wording.plan.step(guess.step))
        case ReadingTaken(entry=entry):
            return _reading(glance, wording, entry)
        case ReadingStruck():
            return _struck(glance, event)
        case VerdictReached(finding=finding, stands=True):
            return replace(glance, part=finding.part if finding else "")
        case VerdictWithdrawn():
            return replace(glance, part=None, prompt="")
        case VerdictReached():
            return _verdict(glance, wording, event)
        case WatchBegun():
            return _watched(glance, wording, event)
        case WatchEnded():
            again = wording.plan.step(glance.step) if glance.step else None
            return _open(glance, wording, again) if again else replace(glance, prompt="", wires=())
        case JobFinished(status=status):
            said = glance.said  # how it ended, and what is missing
            ended = "finished" if isinstance(wording.plan, FreePlan) else status
            return replace(_closed(glance), finished=ended, prompt=said, said="")
    return glance


def _watched(glance: Glance, wording: Wording, event: WatchBegun) -> Glance:
    """What is watched stands in place of the step, which is open again afterwards."""
    wires = tuple(_wire(wording, wording.plan.pin(pin)) for pin in event.pins)
    names = f" {wording.prompt('or')} ".join(wire.name for wire in wires)
    return replace(glance, wires=wires, prompt=wording.prompt("watching", wire=names))


def _verdict(glance: Glance, wording: Wording, event: VerdictReached) -> Glance:
    finding = event.finding
    words = [finding.say, finding.repair] if finding else [wording.plan.no_finding]
    if any(step.phase == "after_repair" for step in wording.plan.steps):
        words.append(wording.prompt("await_repair"))
    part = finding.part if finding else ""
    return replace(_closed(glance), part=part, prompt=" ".join(filter(None, words)))


def _microphone(glance: Glance, event: MicrophoneChanged) -> Glance:
    match event.state:
        case "lost":
            return replace(glance, sound="lost", level=None, turn="")
        case "open" | "back":
            return replace(glance, sound="on")
        case "check" | "overrun" | "mute":
            return replace(glance, said=event.text)
    return glance


def _heard(glance: Glance, event: UtteranceHeard, wording: Wording) -> Glance:
    understood = event.understood
    heard = replace(
        glance,
        heard=understood.text or event.text,
        understood=not isinstance(understood.meaning, Unclear),
        said="",
    )
    return _settled(heard, wording)


def _settled(glance: Glance, wording: Wording) -> Glance:
    """No question is open, but for what an apprentice has yet to say."""
    question = wording.prompt("ask_guess") if glance.untold else ""
    return replace(glance, question=question, options=())


def _open(glance: Glance, wording: Wording, step: Step) -> Glance:
    plan = wording.plan
    condition = plan.condition(step.condition)
    phase = [s.id for s in plan.steps if s.phase == step.phase]
    free = isinstance(plan, FreePlan)  # no test of it is one of so many
    return replace(
        glance,
        step=step.id,
        number=0 if free else phase.index(step.id) + 1,
        count=0 if free else len(phase),
        wires=_wires(wording, step),
        prompt=step.prompt,
        condition=condition.say,
        expected="" if glance.untold else _expected(glance, wording, step),
        caution=" ".join(filter(None, (condition.caution, step.caution))),
    )


def _expected(glance: Glance, wording: Wording, step: Step) -> str:
    if step.expect.nothing:
        return ""
    return show_expected(wording, step, expected(step, glance.taken))


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
        untold=False,
        question="",
        options=(),
    )


def _reading(glance: Glance, wording: Wording, entry: Entry) -> Glance:
    step = wording.plan.step(entry.step)
    shown, unit = _shown(entry.take, wording)
    value = Value(
        number=entry.number,
        wires=_wires(wording, step),
        step=step.id.replace("_", " "),
        shown=shown,
        unit=unit,
        verdict=entry.verdict.result,
        distance=_distance(entry),
        mark=_mark(entry),
    )
    taken = {**glance.taken, step.id: entry.take}
    return replace(glance, value=value, taken=taken, question="", options=(), said="")


def _struck(glance: Glance, event: ReadingStruck) -> Glance:
    taken = {step: take for step, take in glance.taken.items() if step != event.step}
    value = glance.value
    if value and value.number == event.number:
        value = replace(value, verdict="struck", distance="", mark="void")
    return replace(glance, value=value, taken=taken)


def _distance(entry: Entry) -> str:
    if entry.verdict.distance is None:
        return ""
    distance = true_minus(show(entry.verdict.distance))
    marginal = entry.verdict.result == "marginal"
    return f"{distance} from the limit" if marginal else f"by {distance}"


def _mark(entry: Entry) -> Badge:
    if entry.verdict.result == "marginal":
        return "marginal"
    if entry.verdict.outcome is None:
        return "none"
    return "pass" if entry.verdict.passed else "fail"


def _shown(take: Take, wording: Wording) -> tuple[str, str]:
    """A value in figures and its unit."""
    match take:
        case Reading(value=value, number=number, hold=hold, minus_leads=leads):
            if value is None:
                return wording.prompt("over_limit"), ""
            as_said = number is not None and leads is None
            amount = str(number) if as_said else f"{value.magnitude:g}"
            return f"{hold} {true_minus(amount)}".strip(), unit_symbol(value)
        case State(state=state):
            return wording.state(state), ""
        case Observation(answer=answer):
            return answer, ""


def _options(candidates: Sequence[Take], wording: Wording) -> tuple[str, ...]:
    """The candidates in figures; by their pins where the wire is asked for."""
    shown = tuple(_option(candidate, wording) for candidate in candidates)
    pins = [candidate.wire for candidate in candidates]
    if len(set(shown)) == 1 and len(set(pins)) > 1:
        return tuple(f"pin {pin}" for pin in pins)
    return shown if len(set(shown)) == len(shown) else ()


def _option(candidate: Take, wording: Wording) -> str:
    return " ".join(filter(None, _shown(candidate, wording)))


def _wires(wording: Wording, step: Step) -> tuple[WireLook, ...]:
    return tuple(_wire(wording, wording.plan.pin(number)) for number in step.pins)


def _wire(wording: Wording, pin: Pin) -> WireLook:
    look = tuple(rgb(colour) for colour in (pin.colour, pin.stripe) if colour)
    return WireLook(wording.pin(pin), pin.colour, pin.stripe, look, pin.function, pin.number)


def true_minus(number: str) -> str:
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
    return true_minus(f"{float(limit.m_as(unit)):.{LIMIT_DIGITS}g}")
