"""`handsfree plan new`: the plan of one vehicle, from a kind and what differs from it."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Annotated, Any

import typer
from pydantic import TypeAdapter, ValidationError
from rich.table import Table

from handsfree.circuit.values import Volts
from handsfree.cli.checking import check_plan_file
from handsfree.cli.options import PlanArgument
from handsfree.cli.output import console
from handsfree.errors import BadInput
from handsfree.plan import BadPlan, LoadedPlan, load_plan, load_text, shipped
from handsfree.plan.adapted import ends, own_wire, reference_voltages
from handsfree.plan.derived import Description, is_description
from handsfree.plan.derived.wiring import pin
from handsfree.plan.document import read_document, write_document
from handsfree.units import show

NEW_EXAMPLE = 'Example: handsfree plan new flap-actuator-5wire --wire "feedback=white/green pin 4"'

_OPTIONS = {"wires": "--wire", "reference": "--reference", "supply": "--supply",
            "colours": "--colour"}  # fmt: skip
_volts = TypeAdapter(Volts).validate_python

Wires = Annotated[
    list[str] | None,
    typer.Option("--wire", help='A wire and how it is here: "feedback=white/green pin 4".'),
]
Reference = Annotated[
    str | None, typer.Option("--reference", help="What the module gives a sensor: 5V.")
]
Supply = Annotated[str | None, typer.Option("--supply", help="Nominal voltage: 24V.")]
VehicleNamed = Annotated[str, typer.Option("--vehicle", help="Which vehicle it is.")]
ColourSaid = Annotated[
    list[str] | None,
    typer.Option("--colour", help='A colour the tool lacks, and other words: "lilac=mauve".'),
]
Output = Annotated[
    Path | None, typer.Option("-o", "--output", help="The file; my-KIND.yaml, if not given.")
]


def new_plan(
    kind: PlanArgument,
    wire: Wires = None,
    reference: Reference = None,
    supply: Supply = None,
    vehicle: VehicleNamed = "",
    colour: ColourSaid = None,
    output: Output = None,
) -> None:
    """Write the plan of your vehicle: a kind of circuit, and the colours and pins that differ.

    Without options it asks, wire by wire; Enter keeps what the kind has.  The file is written
    only if the plan is fine.
    """
    loaded = load_plan(kind)
    data = read_document(loaded.text).data
    if not is_description(data):
        raise BadInput(
            f"{kind!r} is written out step by step, and cannot be adapted",
            remedy="Copy its file and change the copy.",
        )
    path = output or Path(f"my-{Path(kind).stem}.yaml")
    if path.exists():
        raise BadInput("there is such a file", where=str(path), remedy="Give another with -o.")
    given: dict[str, Any] = {"like": kind if kind in shipped() else _from(path, kind)}
    told = {"vehicle": vehicle, "reference": reference or "", "supply": supply or ""}
    given |= {name: text for name, text in told.items() if text}
    given |= {"colours": dict(map(_colour, colour))} if colour else {}
    given |= {"wires": dict(map(_named, wire))} if wire else {}
    if len(given) == 1:
        if not at_terminal():
            raise BadInput("nothing is given that differs", remedy=f"{NEW_EXAMPLE}.")
        given |= _asked(Description.model_validate(data))
    text = write_document(given, inline=False)
    made = _checked(text, path, given)
    path.write_text(text, encoding="utf-8")
    _show(loaded, made, path)


def at_terminal() -> bool:
    """Whether somebody can be asked."""
    return sys.stdin.isatty()


def _from(path: Path, kind: str) -> str:
    """A kind's file, as it is found from the new one."""
    return kind if path.parent == Path() else str(Path(kind).resolve())


def _named(text: str) -> tuple[str, str]:
    name, sign, how = text.partition("=")
    if not sign or not name.strip():
        raise BadInput(
            f"{text!r} names no wire", where="--wire", remedy='Write "feedback=white/green pin 4".'
        )
    return name.strip(), how.strip()


def _colour(text: str) -> tuple[str, list[str]]:
    name, _, others = text.partition("=")
    return name.strip(), [other.strip() for other in others.split(",") if other.strip()]


def _checked(text: str, path: Path, given: dict[str, Any]) -> LoadedPlan:
    """The plan, checked in itself, against its circuit and against what can be spoken.

    Raises:
        BadInput: it is not fine; said by the options that it was asked for with.
    """
    try:
        made = load_text(text, str(path))
        check_plan_file(made)
    except BadPlan as error:
        found = "\n".join(_by_option(error, given))
        raise BadInput(f"no plan is written:\n{found}") from error
    return made


def _by_option(error: BadPlan, given: dict[str, Any]) -> Iterator[str]:
    for fault in error.faults:
        match fault.path:
            case ("wires", str(name), *_) if name in given["wires"]:
                yield f'  --wire "{name}={given["wires"][name]}": {fault.message}'
            case (str(field), *_) if field in _OPTIONS:
                yield f"  {_OPTIONS[field]}: {fault.message}"
            case _:
                yield f"  {fault.message}"


def _asked(description: Description) -> dict[str, Any]:
    """What differs, asked for in the terminal; Enter keeps."""
    console.print("Enter keeps what stands in brackets.")
    found: dict[str, Any] = {}
    if vehicle := _ask("vehicle", "", str):
        found["vehicle"] = vehicle
    wires = {}
    for strand in description.loom:
        near, _ = ends(description, strand)
        at = f"{strand.colour} pin {pin(near)}" if near else strand.colour
        if said := _ask(strand.name, at, own_wire):
            wires[strand.name] = said
    found |= {"wires": wires} if wires else {}
    known = {str(one) for one in reference_voltages(description).values()}
    if len(known) == 1:
        (now,) = known
        found |= {"reference": said} if (said := _ask("reference", now, _volts)) else {}
    if said := _ask("supply", show(description.supply), _volts):
        found["supply"] = said
    return found


def _ask(what: str, now: str, read: Callable[[str], object]) -> str:
    """An answer that can be read; empty to keep what is."""
    while True:
        said: str = typer.prompt(f"{what} [{now}]", default="", show_default=False).strip()
        try:
            if said:
                read(said)
        except (ValueError, ValidationError) as error:
            first = error.errors()[0]["msg"] if isinstance(error, ValidationError) else str(error)
            console.print(f"  {first.removeprefix('Value error, ')}", markup=False)
        else:
            return said


def _show(kind: LoadedPlan, made: LoadedPlan, path: Path) -> None:
    """What differs, and what comes next."""
    plan = made.plan
    console.print(f"{path}: fine, {len(plan.steps)} steps, {show(plan.supply)}", markup=False)
    was = [(p.function, p.wire, p.number) for p in kind.plan.connector.pins]
    table = Table("pin", "wire", "colour", "", box=None)
    for one in plan.connector.pins:
        new = (one.function, one.wire, one.number) not in was
        table.add_row(one.number, one.function, one.wire, "new" if new else "")
    console.print(table)
    console.print(f"Next: handsfree dictate {path}", markup=False)
