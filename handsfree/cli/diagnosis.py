"""`handsfree explain` and `simulate`: which part is at fault, and made-up readings."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer
from rich.table import Table

from handsfree.cli.output import console, print_json
from handsfree.diagnosis import Explanation, simulate_jobs
from handsfree.diagnosis.plain import plain_explanation, written_odds
from handsfree.dialogue import Dialogue, informed
from handsfree.errors import BadInput
from handsfree.languages import load_language
from handsfree.log import JobRecord
from handsfree.meaning import Take
from handsfree.meaning.plain import plain
from handsfree.plan import Plan, load_plan


def register(app: typer.Typer) -> None:
    """Add these commands."""
    app.command("explain", epilog="Example: handsfree explain jobs/van")(explain_job)
    app.command(
        "simulate",
        epilog="Example: handsfree simulate headlamp-levelling --fault motor_open --json",
    )(simulate_plan)


def explain_job(
    job: Annotated[Path, typer.Argument(help="The job folder.")],
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object.")] = False,
) -> None:
    """Rank the faults that explain the readings, with what speaks for and against each."""
    record = JobRecord.read(job)
    plan = record.plan
    if plan.circuit is None:
        raise BadInput(
            "the plan of this job describes no circuit, so nothing can be computed",
            where=str(job / "plan.yaml"),
            remedy="Add a circuit: section; the verdict of the plan's rules is in the report.",
        )
    desk = Dialogue(plan, load_language(plan.language)).desk
    found = informed.explanation(desk, record.session)
    if found is None:
        raise BadInput("no reading of this job says anything of the circuit", where=str(job))
    finding = record.session.finding
    part = finding.part if finding else None
    if as_json:
        print_json({"subject": record.subject, "verdict": part, **plain_explanation(found)})
        return
    for name, text in record.subject.items():
        console.print(f"{name.replace('_', ' ')}: {text}")
    if part:
        console.print(f"verdict of the job: {part}")
    show_explanation(found)


def show_explanation(found: Explanation) -> None:
    """Print the ranking with its evidence."""
    said = found.verdict
    names = " or ".join(dict.fromkeys(one.fault.say for one in said.candidates))
    console.print(": ".join(filter(None, (said.kind, names))) + f", odds {written_odds(said.odds)}")
    if said.next_test:
        own = "the part itself is tested by" if said.kind == "suspicion" else "told apart by"
        console.print(f"{own}: {said.next_test}")
    elif len(said.candidates) > 1:
        console.print("no test that is left tells them apart")
    if found.slips:
        console.print(f"taken for slips, worth taking again: {', '.join(found.slips)}")
    table = Table("cause", "odds", "for", "against", box=None)
    for one in found.ranking:
        label = " and ".join(fault.say for fault in one.faults) or one.cause.kind
        speaks = [e for e in one.evidence if e.ratio > 2]
        denies = [e for e in one.evidence if e.ratio < 0.5]
        table.add_row(
            label,
            written_odds(one.odds),
            ", ".join(e.test for e in sorted(speaks, key=lambda e: -e.ratio)[:3]),
            ", ".join(e.test for e in sorted(denies, key=lambda e: e.ratio)[:3]),
        )
    console.print(table)


def simulate_plan(
    plan: Annotated[str, typer.Argument(help="A shipped plan's name, or a file.")],
    fault: Annotated[
        list[str] | None, typer.Option("--fault", help="Name of a fault; none: a sound circuit.")
    ] = None,
    seed: Annotated[int, typer.Option("--seed", help="Another number, another vehicle.")] = 0,
    as_json: Annotated[bool, typer.Option("--json", help="One JSON object a line.")] = False,
) -> None:
    """Make up the readings of a vehicle with a fault: tolerances, meter error, slips of hearing."""
    loaded = load_plan(plan).plan
    circuit = loaded.circuit
    if circuit is None:
        raise BadInput("this plan describes no circuit", where=plan)
    known = [one.id for one in circuit.faults]
    for name in fault or []:
        if name not in known:
            remedy = f"Known: {', '.join(known)}"
            raise BadInput(f"the circuit has no fault {name!r}", where="--fault", remedy=remedy)
    taken = simulate_jobs(circuit, tuple(fault or ()), seed, meter=loaded.meter)
    for one in taken:
        line = {
            "step": one.test,
            "shown": _taken(one.shown, loaded),
            "heard": _taken(one.heard, loaded),
            "misheard": one.misheard,
        }
        if as_json:
            print_json(line)
        else:
            console.print(f"{one.test}: {_short(line['heard'])}")


def _taken(take: Take | None, plan: Plan) -> dict[str, Any] | None:
    if take is None:
        return None
    fields = plain(take, plan)
    kept = ("kind", "value", "unit", "over_limit")
    return {name: fields[name] for name in kept if name in fields}


def _short(take: Any) -> str:
    if take is None:
        return "nothing that the plan has a word for"
    if take.get("over_limit"):
        return "over limit"
    value = take["value"]
    return f"{value:.4g} {take['unit']}" if take["unit"] else str(value)
