"""`handsfree import`, `merge`, `purge` and `delete`: what comes into a job, and what goes."""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path
from typing import Annotated

import typer

from handsfree.cli.dictation import KeepName
from handsfree.cli.output import console
from handsfree.errors import BadInput
from handsfree.log import JobRecord
from handsfree.log.folder import EVENTS, PLAN
from handsfree.log.merge import merge
from handsfree.log.opening import utc_now
from handsfree.log.removal import Rule, delete, purge, to_purge
from handsfree.plan import load_plan

By = Annotated[str, typer.Option("--by", help="Who has it done; the log tells it.")]
Yes = Annotated[bool, typer.Option("--yes", help="Do it; else it is only told what would go.")]


def register(app: typer.Typer) -> None:
    """Add these commands."""
    table = "Example: handsfree import jobs/van van.csv --plan relay-4pin --technician Ilya"
    app.command("import", epilog=table)(import_table)
    app.command("merge", epilog="Example: handsfree merge jobs/a jobs/b -o jobs/both")(merge_jobs)
    rule = "Example: handsfree purge jobs --keep readings --older-than 90d --by Idris --yes"
    app.command("purge", epilog=rule)(purge_jobs)
    reason = "Example: handsfree delete jobs/van --by Idris --reason 'asked by the customer' --yes"
    app.command("delete", epilog=reason)(delete_job)


def import_table(
    job: Annotated[Path, typer.Argument(help="The job folder; a new one needs --plan.")],
    file: Annotated[
        Path, typer.Argument(help="CSV with the columns step and value, perhaps unit, condition.")
    ],
    plan: Annotated[
        str | None, typer.Option("--plan", help="A shipped plan's name, or a file.")
    ] = None,
    technician: Annotated[str | None, typer.Option("--technician", help="Who tested.")] = None,
) -> None:
    """Import readings from a table into a job, for whoever has no microphone; each is checked."""
    from handsfree.job.tables import import_readings

    there = (job / EVENTS).exists()
    if plan is None and not there:
        raise BadInput("a new job needs a plan", where="--plan", remedy="Name one.")
    loaded = load_plan(str(job / PLAN) if there else str(plan))
    subject = {"technician": technician} if technician else {}
    details = {"subject": subject} if subject and not there else {}
    count = import_readings(job, loaded, file, details=details, by=technician or "")
    console.print(f"{job}: {count} readings of {file}", markup=False)
    console.print(f"Go on with: handsfree resume {job} --type", markup=False)


def merge_jobs(
    first: Annotated[Path, typer.Argument(help="A job folder.")],
    second: Annotated[Path, typer.Argument(help="Another of the same plan.")],
    output: Annotated[Path, typer.Option("-o", "--output", help="Folder of the new job.")],
) -> None:
    """Put two technicians' logs of one job together, by time; both stay as they are."""
    count = merge(first, second, output)
    console.print(f"{output}: {count} events of {first} and {second}", markup=False)
    console.print(f"handsfree verify {output} --source {first} --source {second}", markup=False)


def purge_jobs(
    jobs: Annotated[list[Path], typer.Argument(metavar="JOB...", help="Jobs, or folders of them.")],
    by: By,
    keep: Annotated[KeepName, typer.Option("--keep", help="Which recordings stay.")],
    older: Annotated[
        str | None, typer.Option("--older-than", help="Only of older jobs: 90d, 12w, 2y.")
    ] = None,
    yes: Yes = False,
) -> None:
    """Remove recordings by a rule; the log tells which, by hash, and stays whole."""
    from handsfree.export.bundle import job_folders

    rule = Rule(keep.value, None if older is None else _age(older))
    folders = [job for folder in jobs for job in job_folders(folder)]
    if not folders:
        raise BadInput("there is no job", where=", ".join(map(str, jobs)))
    for job in folders:
        if yes:
            console.print(f"{job}: {purge(job, rule, by)} recordings removed", markup=False)
        else:
            count = len(to_purge(JobRecord.read(job), rule, utc_now()))
            console.print(f"{job}: {count} recordings would be removed", markup=False)
    if not yes:
        console.print(f"rule: {rule}. Add --yes to do it.", markup=False)
    else:
        console.print("What was sealed before is sealed up to there; seal it again.")


def delete_job(
    job: Annotated[Path, typer.Argument(help="The job folder.")],
    by: By,
    reason: Annotated[str, typer.Option("--reason", help="Why; the tombstone tells it.")],
    yes: Yes = False,
) -> None:
    """Delete a job; a tombstone stays: that there was one, its fingerprint, when, by whom, why."""
    if not yes:
        record = JobRecord.read(job)
        told = ", ".join(record.subject.values())
        console.print(f"{job}: “{record.plan.title}” of {record.began[:10]} {told}", markup=False)
        console.print("would be deleted. Add --yes to do it; nothing brings it back.")
        return
    left = delete(job, by, reason)
    console.print(f"{job}: deleted; deleted.json tells of it", markup=False)
    for name in left:
        console.print(f"left, since it is no part of a job: {name}", markup=False)


def _age(text: str) -> timedelta:
    match = re.fullmatch(r"([1-9][0-9]{0,3})\s*([dwy])", text.strip())
    if match is None:
        raise BadInput(f"{text!r} is no age", where="--older-than", remedy="Such as 90d, 12w, 2y")
    return timedelta(days=int(match[1]) * {"d": 1, "w": 7, "y": 365}[match[2]])
