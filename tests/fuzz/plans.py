"""Plans and grammars: the files that people write."""

from __future__ import annotations

import functools
import json
import random
import re
from importlib.resources import files
from typing import Any

import yaml

from handsfree.cli.checking import check_spoken
from handsfree.grammar import Language
from handsfree.grammar.jsgf import parse
from handsfree.languages import data_folder, load_language
from handsfree.plan import json_schema, load_text, shipped
from tests.fuzz.case import Outcome, tried
from tests.fuzz.mutate import NASTY_TEXT, changed_text

VEHICLES = [
    "like: flap-actuator-5wire\nvehicle: panel van, fleet 12\nwires:\n"
    "  hot drive: orange/gray pin B1\n  feedback: {colour: pink, stripe: light blue, pin: A2}\n"
    "  five volt reference: {colour: dark green, pin: A8, far_pin: 31}\nreference: 8 V\n",
    "like: position-sensor-3wire\nwires: {signal: violet pin C2, reference: blue/red pin C1, "
    "sensor ground: black pin C3}\nreference: 8 V ± 2 %\nsupply: 24 V\n",
    "like: thermistor-2wire\nwires: {temperature signal: violet/white pin A}\nreference: 3.3 V\n",
    "like: relay-4pin\nsupply: 24 V\n",
]
WEIGHTS = ("1", "0", ".5", "1e3", "-1", "1e", ".", "1e999")
#: How often the grammars of a plan that was taken are made too.
SPOKEN = 0.1


@functools.cache
def _texts() -> list[str]:
    folder = files("handsfree.plan") / "shipped"
    kinds = [(folder / f"{name}.yaml").read_text(encoding="utf-8") for name in shipped()]
    return [*kinds, *VEHICLES * 2]


@functools.cache
def _words() -> list[str]:
    return sorted({word for text in _texts() for word in re.findall(r"[^\s,{}\[\]]+", text)})


@functools.cache
def _schema() -> dict[str, Any]:
    return json_schema()


def made(schema: dict[str, Any], rng: random.Random, deep: int = 0) -> Any:
    """Data that a JSON Schema allows, nearly."""
    if rng.random() < 0.03:
        return rng.choice(
            [*NASTY_TEXT, None, True, -1, 0, 1e300, [], {}, [[]], rng.choice(_words())]
        )
    if "$ref" in schema:
        return made(_schema()["$defs"][schema["$ref"].rsplit("/", 1)[-1]], rng, deep + 1)
    for several in ("anyOf", "oneOf"):
        if several in schema:
            return made(rng.choice(schema[several]), rng, deep + 1)
    if "const" in schema:
        return schema["const"]
    if "enum" in schema:
        return rng.choice(schema["enum"])
    match schema.get("type"):
        case "object":
            fields = schema.get("properties", {})
            needed = schema.get("required", ())
            found = {
                name: made(field, rng, deep + 1)
                for name, field in fields.items()
                if name in needed or rng.random() < (0.5 if deep < 6 else 0)
            }
            if isinstance(more := schema.get("additionalProperties"), dict) and deep < 8:
                for _ in range(rng.randrange(3)):
                    found[rng.choice(_words())] = made(more, rng, deep + 1)
            return found
        case "array":
            few = rng.randrange(4) if deep < 9 else 0
            return [made(schema.get("items", {}), rng, deep + 1) for _ in range(few)]
        case "integer" | "number":
            return rng.choice((0, 1, 2, 30, -1, 0.5, 12))
        case "boolean":
            return rng.random() < 0.5
        case "null":
            return None
    return rng.choice((*_words(), "12 V", "5 V ± 2 %", "100 Ω", "red", "red/white", "a1", "next"))


def spoken_once() -> None:
    """Read a language."""
    load_language("en")


def plan(rng: random.Random) -> Outcome:
    """A plan or a vehicle's file that was changed, or made after the schema."""
    if rng.random() < 0.2:
        schema = _schema()
        form = rng.choice([schema["then"], schema["else"]["then"], schema["else"]["else"]])
        text = json.dumps(made(form, rng)) if rng.random() < 0.2 else yaml.dump(made(form, rng))
    else:
        text = changed_text(rng.choice(_texts()), rng, _words(), rng.choice((1, 1, 2, 6)))
    spoken = rng.random() < SPOKEN

    def read() -> None:
        loaded = load_text(text, "fuzzed.yaml")
        if spoken:
            check_spoken(loaded)

    return tried(read)


@functools.cache
def _rules() -> list[tuple[str, list[str]]]:
    found = []
    for path in sorted(data_folder("grammars").glob("*/*.jsgf")):
        head, *rules = re.split(r"\n(?=(?:public )?<)", path.read_text(encoding="utf-8"))
        found.append((head, rules))
    return found


def _expansion(rng: random.Random, deep: int = 0) -> str:
    word = rng.choice(
        ("<a>", "<b>", "<c>", "one", "two", '"in quotes"', "<NULL>", "<VOID>", "ohm's")
    )
    if deep > 4:
        return word
    if rng.random() < 0.002:
        return "(" * 1500 + word + ")" * 1500
    inner = [_expansion(rng, deep + 1) for _ in range(rng.randint(1, 3))]
    return rng.choice(
        (
            word,
            " ".join(inner),
            f"({' | '.join(inner)})",
            f"[{' '.join(inner)}]",
            f"({inner[0]})*",
            f"({inner[0]})+",
            f"{word} {{tag {deep}}} {{\\}}}}",
            f"(/{rng.choice(WEIGHTS)}/ {inner[0]} | {word})",
        )
    )


def grammar(rng: random.Random) -> Outcome:
    """A grammar that was changed, or made; read, joined, and made into an automaton if small."""
    small = rng.random() < 0.4
    if small:
        bodies = [f"<{name}> = {_expansion(rng)};" for name in "abc"]
        text = "#JSGF V1.0; grammar g;\n" + "\n".join(bodies)
        if rng.random() < 0.4:
            text = changed_text(text, rng)
    else:
        head, rules = rng.choice(_rules())
        text = changed_text("\n".join([head, *rng.sample(rules, min(6, len(rules)))]), rng)

    def read() -> None:
        read = parse(text, "fuzzed.jsgf")
        language = Language.of_grammars("fuzzed", [read])
        if small and "a" in language.rules:
            language.automaton("a")

    return tried(read)
