"""`handsfree plan`: list, show, check, expect, new, from and schema."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer
from rich.table import Table

from handsfree.check import written
from handsfree.check.agreement import agreements
from handsfree.circuit import Circuit
from handsfree.cli.checking import check_plan_file
from handsfree.cli.expectations import figures, plain_agreement
from handsfree.cli.new_plan import NEW_EXAMPLE, new_plan
from handsfree.cli.options import Json, PlanArgument
from handsfree.cli.output import console, print_json
from handsfree.diagnosis import rehearse as walk_faults
from handsfree.errors import BadInput
from handsfree.export.sheet_of import sheet_of
from handsfree.log import JobRecord
from handsfree.plan import Plan, Step, json_schema, load_plan, load_text, titles
from handsfree.units import show

_app = typer.Typer(help="Look at test plans, or check your own.", no_args_is_help=True)


class Rehearsal(StrEnum):
    """How every fault of the circuit is walked through the plan."""

    off = "off"
    quick = "quick"
    full = "full"


def register(main: typer.Typer) -> None:
    """Add these commands."""
    _app.command("new", epilog=NEW_EXAMPLE)(new_plan)
    main.add_typer(_app, name="plan")


@_app.command("list", epilog="Example: handsfree plan list")
def list_plans(as_json: Json = False) -> None:
    """List the shipped plans."""
    if as_json:
        for name, title in titles().items():
            print_json({"name": name, "title": title})
        return
    table = Table("name", "title", box=None)
    for name, title in titles().items():
        table.add_row(name, title)
    console.print(table)


@_app.command("show", epilog="Example: handsfree plan show headlamp-levelling")
def show_plan(plan: PlanArgument, as_json: Json = False) -> None:
    """Show a plan: its wires, its steps and what is expected."""
    loaded = load_plan(plan).plan
    if as_json:
        print_json(loaded.model_dump(mode="json"))
        return
    console.print(f"{loaded.title}  ({loaded.circuit_class} circuit, {show(loaded.supply)})")
    for caution in loaded.cautions:
        console.print(f"  ! {caution}")
    for pin in loaded.connector.pins:
        console.print(f"  pin {pin.number}: {pin.wire}, {pin.function}")
    table = Table("step", "probe", "condition", "expected", box=None)
    for step in loaded.steps:
        leads = f"{step.probe.red} / {step.probe.black}"
        table.add_row(step.id, leads, loaded.condition(step.condition).say, expectation(step))
    console.print(table)


def expectation(step: Step) -> str:
    """What a step expects, as the plan writes it."""
    expect = step.expect
    if expect.states or expect.answers:
        return " or ".join(expect.states or expect.answers)
    if expect.over_limit:
        return "over limit"
    if expect.nominal is not None and expect.tolerance is not None:
        return f"{show(expect.nominal)} ± {show(expect.tolerance)}"
    if expect.near and expect.within is not None:
        return f"{expect.near} ± {show(expect.within)}"
    limits = [f"≥ {show(expect.low)}" if expect.low is not None else ""]
    limits += [f"≤ {show(expect.high)}" if expect.high is not None else ""]
    of = f" of {expect.share_of}" if expect.share_of else ""
    return ", ".join(filter(None, limits)) + of


Rehearse = Annotated[
    Rehearsal,
    typer.Option("--rehearse", help="Walk every fault of the circuit through the plan."),
]


@_app.command("check", epilog="Example: handsfree plan check my-plan.yaml")
def check_plan(plan: PlanArgument, rehearse: Rehearse = Rehearsal.quick) -> None:
    """Check a plan, also against its circuit; every mistake is listed with file, line and field.

    Then every fault of the library is walked through the whole plan, and who is convicted wrongly
    is listed.  "full" thinks of double faults as well, and takes some ten times as long.
    """
    loaded = load_plan(plan)
    checked = loaded.plan
    found = check_plan_file(loaded)
    counts = f"{len(checked.steps)} steps, {len(checked.findings)} findings"
    if circuit := checked.circuit:
        counts += f", a circuit with {len(circuit.faults)} faults and {len(circuit.tests)} tests"
    console.print(f"{plan}: fine, {counts}")
    for agreement in found:
        if agreement.agrees == "partly":
            wanted = written(agreement.wanted)
            console.print(f"  note: some sound circuits fail at {agreement.step.id} ({wanted})")
    if circuit and rehearse is not Rehearsal.off:
        for line in _rehearsed(checked, circuit, rehearse):
            console.print(f"  {line}")


def _rehearsed(plan: Plan, circuit: Circuit, how: Rehearsal) -> Iterator[str]:
    """What the verdict makes of every fault, in lines."""
    steps = [step.id for step in plan.steps if step.phase == "test"]
    quick = {"pairs": 0, "samples": 40} if how is Rehearsal.quick else {}
    walked = walk_faults(circuit, steps, plan.meter, **quick)
    shown = [one for one in walked if one.seen]
    said = Counter(one.said.kind for one in shown)
    kinds = ", ".join(f"{said[kind]} {kind}" for kind in dict.fromkeys(sorted(said)))
    yield f"rehearsed: of {len(walked)} faults {len(shown)} show; {kinds}"
    wrong = [one for one in shown if one.wrong]
    yield f"convicted wrongly: {len(wrong) or 'nobody'}"
    for one in wrong:
        named = " or ".join(dict.fromkeys(c.fault.say for c in one.said.candidates))
        yield f"  {one.fault.id}: {one.fault.say}, and it is said: {named}"


@_app.command("expect", epilog="Example: handsfree plan expect headlamp-levelling")
def expect(plan: PlanArgument, as_json: Json = False) -> None:
    """Compute from the circuit what each step should read, and compare it with the plan.

    "Likely" holds 95 % of all sound circuits, "worst case" all of them, "meter" is its largest
    error.  In JSON, null in place of a number means over limit.
    """
    loaded = load_plan(plan).plan
    if loaded.circuit is None:
        raise BadInput(
            "this plan describes no circuit",
            where=plan,
            remedy="Add a circuit section, as in `handsfree plan show headlamp-levelling --json`.",
        )
    found = agreements(loaded)
    if as_json:
        for agreement in found:
            print_json(plain_agreement(agreement))
        return
    table = Table(
        "step", "condition", "nominal", "likely", "worst case", "meter", "in the plan", "agrees",
        box=None,
    )  # fmt: skip
    for agreement in found:
        step = agreement.step
        agrees = agreement.objection or agreement.agrees
        condition = loaded.condition(step.condition).say
        table.add_row(step.id, condition, *figures(agreement), written(agreement.wanted), agrees)
    console.print(table)


@_app.command("from", epilog="Example: handsfree plan from jobs/free-… -o my-plan.yaml")
def plan_from(
    job: Annotated[Path, typer.Argument(help="The job folder.")],
    output: Annotated[Path, typer.Option("-o", "--output", help="The file.")],
) -> None:
    """Make a plan of a job without one: its wires, its conditions, ranges around what was read."""
    if output.exists():
        raise BadInput("there is such a file", where=str(output), remedy="Give another with -o.")
    text = sheet_of(JobRecord.read(job))
    made = load_text(text, str(output))
    check_plan_file(made)
    output.write_text(text, encoding="utf-8")
    lines = len(text.splitlines())
    console.print(f"{output}: fine, {len(made.plan.steps)} steps in {lines} lines", markup=False)
    console.print(f"Next: handsfree dictate {output}", markup=False)


@_app.command("schema", epilog="Example: handsfree plan schema > plan.schema.json")
def print_schema() -> None:
    """Print the JSON Schema of a plan."""
    print_json(json_schema())
