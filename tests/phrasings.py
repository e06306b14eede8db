"""Phrasings as mechanics say them, each with what it means: tests/data/phrasings/*.yaml.

They were written down by people who had not seen the grammar, or not yet: "third" by whoever worked
on it next, who had seen those of "partner".  Those of "bench", "partner" and "third" have all been
looked at, and so have those of "fourth", of which 137 of 200 were understood when they were tried
first.  Those of "classes" were written by whoever worked on it last, many of each class of speech,
before any of them was tried.  Half of "second", drawn by their text, and all of "fifth", whose
writer saw nothing of the project, are kept aside: nothing is tuned on them.  Of "fifth" 184 of 231
were understood, and 2 wrongly, when it was tried first; how it was has been looked at since, and so
has "sixth", of the same kind, of which 196 of 230 were understood, and 3 wrongly, before intents
were learnt (tests/learn_intents.py).  "seventh", of the same kind, was tried after that: 216 of 232
were understood, and 2 wrongly; how it was has been looked at since.  Of "eighth" 219 of 232 were
understood, none wrongly, and of "ninth" 215 of 233, 2 wrongly, when they were tried.
`python -m tests.phrasings` shows how the open ones are understood, `--final` the others.
"""

from __future__ import annotations

import argparse
import zlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any, Literal

import yaml

from handsfree.dialogue import Dialogue, Session
from handsfree.events import Question, ReadingTaken
from handsfree.heard import Heard
from handsfree.languages import load_language
from handsfree.meaning import (
    Ambiguous,
    Aside,
    Command,
    Meaning,
    Note,
    Observation,
    Reading,
    SetCondition,
    Several,
    State,
    Unclear,
    Unread,
)
from handsfree.plan import load_plan
from handsfree.units import quantity

#: Of "second" half is kept aside, of the last five all.
FILES = ("bench", "partner", "second", "third", "classes", "fourth", "fifth", "sixth", "seventh",
         "eighth", "ninth")  # fmt: skip
ASIDE = ("fifth", "sixth", "seventh", "eighth", "ninth")
FOLDER = Path(__file__).parent / "data"

#: understood; refused: nothing done, though it had a meaning; wrong: another thing was done.
Result = Literal["understood", "refused", "wrong"]

_PINS = {"blue": "1", "brown": "2", "black": "3", "white": "4", "violet": "5"}
_STATES = {"short to power": "short to supply"}
#: What is understood, and not taken.
_IMPOSSIBLE = ("wrong unit", "impossible value")
#: Kinds of what is vague, each with a request of its own.
_VAGUE = ("hedged", "range", "several")
_CONDITIONS = {
    "everything off": "off",
    "ignition on": "on",
    "connector unplugged": "unplugged",
    "control at full": "full",
    "control at zero": "zero",
    "moving up": "up",
    "moving down": "down",
}


@dataclass(frozen=True, slots=True)
class Phrasing:
    """One of them.

    Attributes:
        said: the words.
        at: kind of the open step, or of the open question.
        means: what is meant, in the words of the file.
        wanted: all fields of the file.
        aside: whether it is kept aside.
    """

    said: str
    at: str
    means: str
    wanted: dict[str, Any]
    aside: bool = False


@cache
def phrasings(name: str) -> tuple[Phrasing, ...]:
    """All of a file."""
    items = yaml.safe_load((FOLDER / "phrasings" / f"{name}.yaml").read_text(encoding="utf-8"))

    def aside(said: str) -> bool:
        return name in ASIDE or (name == "second" and zlib.crc32(said.lower().encode()) % 2 == 0)

    return tuple(
        Phrasing(str(i["said"]), i["at"], i["means"], i, aside(str(i["said"]))) for i in items
    )


@cache
def dialogue() -> Dialogue:
    """About the bench of the phrasings."""
    return Dialogue(load_plan(str(FOLDER / "plans" / "phrasings.yaml")).plan, load_language("en"))


def scene(one: Phrasing) -> Session:
    """Where the dialogue stands when it is said."""
    talk = dialogue()
    plan = talk.desk.plan
    at = {"any": "voltage", "question": "kilohms", "confirm": "voltage"}.get(one.at, one.at)
    if one.at in ("resistance", "any") and one.wanted.get("unit") == "kohm":
        at = "kilohms"
    step = plan.step(at)
    session = Session(step=step.id, condition=step.condition)
    if one.wanted.get("value") == "resume":
        session = replace(session, paused=True)
    if one.wanted.get("value") in ("strike", "correct", "last", "same"):
        before = session
        if step.measure.quantity is None:
            before = replace(session, step="voltage", condition="on")
        session = talk.respond(before, Heard.of_text("four point nine five")).session
        session = replace(session, step=step.id, condition=step.condition)
    if one.at == "question":
        takes = tuple(_reading(v, "kΩ") for v in (49.0, 4.9))
        session = replace(session, question=Question("which", "kilohms", takes))
    if one.at == "confirm":
        question = Question("confirm", "voltage", (_reading(7.0, "V"),))
        session = replace(session, question=question)
    return session


def _reading(value: float, unit: str) -> Reading:
    return Reading(quantity(value, unit))


def judged(one: Phrasing) -> tuple[Result, Meaning | None]:
    """How it is understood."""
    session = scene(one)
    response = dialogue().respond(session, Heard.of_text(one.said))
    meaning = response.understood.meaning if response.understood else None
    logged = any(isinstance(event, ReadingTaken) for event in response.events)
    return _judge(one, meaning, logged=logged), meaning


def _judge(one: Phrasing, meaning: Meaning | None, *, logged: bool) -> Result:
    nothing = meaning is None or isinstance(meaning, Unclear | Aside)
    if one.means in ("refuse", "silence"):
        why = one.wanted.get("why")
        harmless = nothing or (why == "unit missing" and _asks(meaning))
        harmless |= why in _IMPOSSIBLE and isinstance(meaning, Reading) and not logged
        return "understood" if harmless else "wrong"
    if one.means == "ask" and "candidates" not in one.wanted and asks_back(meaning):
        return "understood"
    if nothing:
        return "refused"
    assert meaning is not None
    return "understood" if _right(one, meaning) else "wrong"


def asks_back(meaning: Meaning | None) -> bool:
    """Whether it is answered by a request of its own, not by "say again": no guess is logged."""
    return isinstance(meaning, Aside) and meaning.about and meaning.kind in _VAGUE


def _asks(meaning: Meaning | None) -> bool:
    return isinstance(meaning, Ambiguous | Reading)


def _right(one: Phrasing, meaning: Meaning) -> bool:
    wanted, value = one.wanted, one.wanted.get("value")
    match meaning:
        case Ambiguous(candidates=candidates):
            some = [c for c in candidates if _right(one, c)]
            return one.means == "ask" or bool(some)
        case Several(values=values):
            wanted_all = one.wanted.get("values", ())
            return len(values) == len(wanted_all) and all(
                not isinstance(value, Unread)
                and _right(replace(one, means=_kind_of(each), wanted=each), value)
                for value, each in zip(values, wanted_all, strict=True)
            )
        case Reading(value=None):
            return one.means == "over limit"
        case Reading():
            if one.means == "answer":  # one of the values that were asked about, said once more
                offered = {"first": 49.0, "second": 4.9, "yes": 7.0}.get(str(value), -1.0)
                unit = "V" if one.at == "confirm" else "kΩ"
                return meaning.value == _reading(offered, unit).value
            return one.means in ("reading", "ask") and _same(meaning, wanted)
        case State(state=state):
            opened = one.means == "over limit" and state == "open"
            value = wanted.get("state", value)
            same = one.means == "state" and state == _STATES.get(str(value), value)
            return (opened or same) and _wire(meaning.wire, wanted)
        case Observation(answer=answer):
            return (one.means == "observation" and answer == value) or (
                one.means == "answer" and value == "yes" and answer == "moves freely"
            )
        case Command(name="correct", take=take):
            to = wanted.get("to")
            return value == "correct" and (to is None or (take is not None and _same(
                take, {"value": to, "unit": wanted.get("unit")})))  # fmt: skip
        case Command(name="choice", choice=choice):
            return one.means == "answer" and value == ("first", "second")[choice - 1]
        case Command(name="go", wire=wire):
            return value == "go" and _wire(wire, wanted)
        case Command(name=name):
            quiet = value == "pause" and name == "softer"  # either makes it say less
            return (one.means in ("command", "answer")) and (name == value or quiet)
        case SetCondition(condition=condition):
            return one.means == "condition" and _CONDITIONS.get(str(value)) == condition
        case Note():
            return one.means == "note"
    return False


def _kind_of(wanted: dict[str, Any]) -> str:
    return "state" if "state" in wanted else "reading"


def _same(take: object, wanted: dict[str, Any]) -> bool:
    if not isinstance(take, Reading) or take.value is None:
        return False
    unit = {"ohm": "Ω", "kohm": "kΩ", None: None}.get(wanted.get("unit"), wanted.get("unit"))
    if "value" not in wanted:
        return True
    there = quantity(wanted["value"], unit or str(take.value.units))
    return (
        take.value.is_compatible_with(there.units)
        and abs(float(take.value.m_as(there.units) - there.m)) < 1e-9
        and _wire(take.wire, wanted)
    )


def _wire(pin: str | None, wanted: dict[str, Any]) -> bool:
    wire = wanted.get("wire")
    return pin is None or wire is None or _PINS.get(str(wire).split()[0]) == pin


def table(name: str, *, final: bool) -> Iterator[tuple[Phrasing, Result, Meaning | None]]:
    """Each phrasing of one half with how it is understood."""
    for one in phrasings(name):
        if one.aside == final:
            yield one, *judged(one)


def main() -> None:
    """Show how the phrasings are understood."""
    parser = argparse.ArgumentParser(prog="python -m tests.phrasings", description=__doc__)
    parser.add_argument("--final", action="store_true", help="those kept aside; run it once")
    parser.add_argument("--file", default="bench", choices=FILES)
    options = parser.parse_args()
    counts: Counter[tuple[str, str]] = Counter()
    for one, result, meaning in table(options.file, final=options.final):
        counts[one.means, result] += 1
        if result != "understood" and not options.final:
            print(f"{result:8} {one.at:10} {one.said!r}: {one.wanted} -> {meaning}")
    kinds = dict.fromkeys(kind for kind, _ in counts)
    total: Counter[str] = Counter()
    print(f"{'means':12} understood refused wrong")
    for kind in kinds:
        row = [counts[kind, result] for result in ("understood", "refused", "wrong")]
        total.update(dict(zip(("understood", "refused", "wrong"), row, strict=True)))
        print(f"{kind:12} {row[0]:10} {row[1]:7} {row[2]:5}")
    print(f"{'all':12} {total['understood']:10} {total['refused']:7} {total['wrong']:5}")


if __name__ == "__main__":
    main()
