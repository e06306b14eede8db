"""From the tags of one parse to a meaning."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import cast

from handsfree.fields import is_pin
from handsfree.grammar.numerals import NUMBER_TAGS, number_of
from handsfree.grammar.parsing import Tags
from handsfree.meaning.meanings import (
    NO_UNIT,
    Aside,
    AsideKind,
    Command,
    Difference,
    Hold,
    Meaning,
    Note,
    Observation,
    Reading,
    Seen,
    SeenShows,
    SetCondition,
    State,
    Take,
    Telling,
    ToldOf,
    Unclear,
)
from handsfree.units import quantity

#: Without a unit, a whole number from this up may be of the unit without its prefix.
LARGE = 100


#: Commands that give a value: one that is right, and one that was said before.
_WITH_VALUE = ("correct", "said")


def meaning_of(tags: Tags, step_unit: str) -> Meaning:
    """The meaning of one tag sequence.

    What stands before the tag "but" counts for nothing, nor does what follows the tag "not".

    Args:
        tags: from `Automaton.parses`.
        step_unit: unit meant when none is spoken; empty where the step measures no quantity.
    """
    if "but" in tags:
        tags = tags[tags.index("but") + 1 :]
    if "not" in tags:
        tags = tags[: tags.index("not")]
    by_verb: dict[str, str] = {}
    for tag in tags:
        verb, _, argument = tag.partition(" ")
        by_verb.setdefault(verb, argument)
    wire = by_verb.get("wire")
    if "aside" in by_verb:
        return Aside(cast(AsideKind, by_verb["aside"]), about=len(by_verb) > 1)
    if "note" in by_verb:
        return Note(" ".join(t[4:] for t in tags if t.startswith("any ")))
    if "choice" in by_verb:
        return Command("choice", choice=int(by_verb["choice"]))
    if "told" in by_verb:
        return _told(tags)
    if "condition" in by_verb:
        return SetCondition(by_verb["condition"])
    command = by_verb.get("command", "")
    if command not in ("", *_WITH_VALUE):
        return Command(by_verb["command"], wire=wire)
    take = _take(tags, by_verb, wire, step_unit)
    if "seen" in by_verb:
        if isinstance(take, Unclear):
            return take
        value = take if isinstance(take, Reading) and take.value is not None else None
        shows = cast(SeenShows, by_verb["seen"])
        return Seen(shows, value, approximate="approximate" in by_verb)
    if "command" in by_verb:
        return take if isinstance(take, Unclear) else Command(command, take=take)
    return take or Unclear("nothing was said that can be logged")


def _told(tags: Tags) -> Meaning:
    """What is told of the vehicle, each part of it closed by its tag "told WHAT"."""
    parts: list[list[str]] = [[]]
    for tag in tags:
        parts[-1].append(tag)
        if tag.startswith("told "):
            parts.append([])
    first, *more = (_telling(part) for part in parts[:-1])
    if isinstance(first, Difference):
        return first
    labels = (one.pin for one in (first, *more) if isinstance(one, Telling))
    if not all(label is None or is_pin(label) for label in labels):
        return Unclear("no pin has such a label")
    return replace(first, more=tuple(one for one in more if isinstance(one, Telling)))


def _telling(tags: Sequence[str]) -> Telling | Difference:
    pairs = [tag.partition(" ")[::2] for tag in tags]
    of = pairs[-1][1]
    wires = [label for verb, label in pairs if verb == "wire"]
    if of in ("difference", "drop"):
        return Difference(wires[0], wires[1], drop=of == "drop")
    wire = wires[0] if wires else None
    if of in ("reference", "supply"):
        number = number_of([tag for tag in tags if tag.partition(" ")[0] in NUMBER_TAGS])
        return Telling(cast(ToldOf, of), wire, volts=quantity(number.value, "V"))
    colour = "/".join(name for verb, name in pairs if verb == "colour")
    return Telling(cast(ToldOf, of), wire, colour or None, _label(tags) or None)


def _label(tags: Sequence[str]) -> str:
    """The label of a pin by its letters and numbers, as it is printed: "A2"."""
    label, figures = "", list[str]()
    for tag in (*tags, "end"):
        verb, _, argument = tag.partition(" ")
        if verb in NUMBER_TAGS:
            figures.append(tag)
            continue
        if figures:
            digits = "".join(one.removeprefix("digit ") for one in figures)
            plain = all(one.startswith("digit ") for one in figures)
            label += digits if plain else f"{number_of(figures).value:f}"
            figures = []
        label += argument.upper() if verb == "letter" else ""
    return label


def _take(
    tags: Sequence[str], by_verb: dict[str, str], wire: str | None, step_unit: str
) -> Take | Unclear | None:
    if "over" in by_verb:
        return Reading(None, wire)
    if "state" in by_verb:
        return State(by_verb["state"], wire)
    if "option" in by_verb:
        return Observation(by_verb["option"], wire)
    number_tags = [t for t in tags if t.partition(" ")[0] in NUMBER_TAGS]
    if not number_tags:
        return None
    number = number_of(number_tags)
    unit = by_verb.get("unit", "")
    if not unit:
        if not step_unit:
            return Unclear(NO_UNIT)
        unit = _scaled(step_unit, by_verb.get("scale", ""))
    value = quantity(number.value, unit)
    hold = cast(Hold, by_verb.get("hold", ""))
    spoken = "unit" in by_verb
    return Reading(value, wire, number.value, number.form, unit_spoken=spoken, hold=hold)


def _scaled(unit: str, prefix: str) -> str:
    """`unit` with its prefix replaced: "4.7 k" at a step in MΩ is 4.7 kΩ."""
    base = next((u for u in ("V", "Ω", "A", "Hz", "F") if unit.endswith(u)), unit)
    return prefix + base if prefix else unit


def in_base_unit(meaning: Meaning, unit: str) -> Reading | None:
    """A large bare number at a step in kilohms may be ohms: "four thousand nine hundred"."""
    if not isinstance(meaning, Reading) or meaning.unit_spoken or meaning.number is None:
        return None
    large = meaning.number >= LARGE and meaning.number == meaning.number.to_integral()
    if not large or unit[:1] not in ("k", "M") or meaning.value != quantity(meaning.number, unit):
        return None
    return replace(meaning, value=quantity(meaning.number, unit[1:]), form="unit left out")
