"""`handsfree log`, `report`, `verify` and `recover`: a job folder afterwards."""

from __future__ import annotations

import sys
from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from handsfree.cli.options import KeyFiles
from handsfree.cli.output import console, print_event, print_json
from handsfree.errors import BadInput, Damaged
from handsfree.events.schema import log_schema
from handsfree.events.watches import clock
from handsfree.log import JobRecord, compare, read, recover, to_csv, verify
from handsfree.plan import load_plan
from handsfree.units import parse_quantity, show


class PaperName(StrEnum):
    """Sizes of paper."""

    a4 = "a4"
    letter = "letter"


JobArgument = Annotated[Path, typer.Argument(help="The job folder.")]


def register(app: typer.Typer) -> None:
    """Add these commands."""
    app.command("log", epilog="Example: handsfree log jobs/van --csv > van.csv")(show_log)
    app.command("report", epilog="Example: handsfree report jobs/van -o van.html")(write_report)
    app.command("sweep", epilog="Example: handsfree sweep jobs/van sweep.csv")(import_sweep_file)
    app.command(epilog="Example: handsfree attach jobs/van connector.jpg")(attach)
    app.command("record", epilog="Example: handsfree record jobs/van scope.csv --watch 1")(
        import_record_file
    )
    app.command("recover", epilog="Example: handsfree recover jobs/van")(recover_job)
    app.command("verify", epilog="Example: handsfree verify jobs/van")(verify_job)


def import_sweep_file(
    job: JobArgument,
    file: Annotated[Path, typer.Argument(help="CSV with the columns command (%) and feedback.")],
) -> None:
    """Import a sweep of feedback against command into a job, and judge it."""
    from handsfree.job.sweeps import import_sweep

    _, flaws = import_sweep(job, file)
    for flaw in flaws:
        at = "" if flaw.command is None else f" at {show(flaw.command)}"
        value = "" if flaw.value is None else f": {show(flaw.value)}"
        console.print(f"{flaw.flaw}{at}{value}")
    if not flaws:
        console.print("the sweep is fine: end stops, direction, no dead segment, little hysteresis")


def attach(
    job: JobArgument,
    files: Annotated[list[Path], typer.Argument(help="Photos, JPEG or PNG.")],
) -> None:
    """Put photos into a job, also one that is finished; the report shows them."""
    from handsfree.job.photos import attach_photos

    for file, picture in zip(files, attach_photos(job, files), strict=True):
        console.print(f"attached: {file.name}, {picture.width} × {picture.height}", markup=False)
        if picture.located:
            console.print(
                "note: the file says where it was taken. It stays so in the job; the "
                "report shows the photo without it."
            )


def import_record_file(
    job: JobArgument,
    file: Annotated[Path, typer.Argument(help="CSV: time, value; with or without a header.")],
    watch: Annotated[
        int | None, typer.Option("--watch", help="Number of the watch; else the last one.")
    ] = None,
    step: Annotated[str | None, typer.Option("--step", help="The step it was taken at.")] = None,
    unit: Annotated[str | None, typer.Option("--unit", help="Of the values, if not told.")] = None,
    column: Annotated[
        str | None, typer.Option("--column", help="Heading of the value; else the second column.")
    ] = None,
    band: Annotated[
        str | None, typer.Option("--band", help="Nearer to the level is no excursion: '0.2 V'.")
    ] = None,
) -> None:
    """Import the record of a clamp, scope or meter, and find its excursions."""
    from handsfree.job.records import import_record

    try:
        width = None if band is None else parse_quantity(band)
    except ValueError as error:
        raise BadInput(str(error), where="--band") from error
    told = import_record(job, file, watch=watch, step=step, unit=unit, column=column, band=width)
    for one in told.excursions:
        lasted = f"{1000 * one.lasted:.0f} ms" if one.lasted < 10 else f"{one.lasted:.1f} s"
        console.print(f"{clock(one.after)}  {one.side:4}  {one.extreme:g} {told.unit}  {lasted}")
    console.print(
        f"{len(told.excursions)} excursions in {clock(told.lasted)}, "
        f"level {told.level:g} {told.unit}, beyond {told.band:.3g} {told.unit} or the limits"
    )


def show_log(
    job: Annotated[Path | None, typer.Argument(help="The job folder.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="Every event, a JSON line each.")] = False,
    as_csv: Annotated[bool, typer.Option("--csv", help="The readings that count, as CSV.")] = False,
    history: Annotated[
        bool, typer.Option("--history", help="With --csv: also corrected and struck readings.")
    ] = False,
    schema: Annotated[
        bool, typer.Option("--schema", help="The JSON Schema of a line of any log, and no more.")
    ] = False,
) -> None:
    """Show what was logged."""
    if schema:
        print_json(log_schema())
        return
    if job is None:
        raise BadInput("no job folder was given", remedy="Example: handsfree log jobs/van")
    if as_json and as_csv:
        raise BadInput("choose one of --json and --csv")
    if as_json:
        for line in read(job):
            print_json(line.as_dict())
        return
    events = JobRecord.read(job).events
    if as_csv:
        sys.stdout.write(to_csv(events, history=history))
        return
    for logged in events:
        print_event(logged)


def write_report(
    job: JobArgument,
    output: Annotated[
        Path | None,
        typer.Option(
            "-o", "--output", help="File that ends in .html or .pdf; else JOB/report.html."
        ),
    ] = None,
    paper: Annotated[PaperName, typer.Option("--paper", help="Size of a printed page.")] = (
        PaperName.a4
    ),
) -> None:
    """Write a report: HTML with the sound behind every reading in it, or PDF."""
    from handsfree.report import report_file

    path = output or job / "report.html"
    check = report_file(job, path, paper.value)
    console.print(f"report: {path}")
    if not check.ok:
        raise Damaged(
            "this log is damaged, and the report says so first",
            where=str(job),
            remedy="`handsfree verify` lists all damage, `handsfree recover` saves what is whole.",
        )


def verify_job(
    job: JobArgument,
    kept: Annotated[
        str | None,
        typer.Option("--fingerprint", help="That was kept elsewhere: is it that of this log?"),
    ] = None,
    key: KeyFiles = None,
    source: Annotated[
        list[Path] | None,
        typer.Option("--source", help="A job that this one was put together from: is it all here?"),
    ] = None,
    authority: Annotated[
        Path | None, typer.Option("--authority", help="Certificate of who stamped the time, PEM.")
    ] = None,
) -> None:
    """Check that a log is as it was written: hash chain, clips and plan."""
    result = verify(job)
    for remark in result.remarks:
        console.print(f"note: {remark}")
    if result.problems:
        problems = "\n".join(f"  {problem}" for problem in result.problems)
        raise Damaged(
            f"damaged\n{problems}", where=str(job), remedy="Do not use this log as evidence."
        )
    if kept is not None:
        known = compare(job, kept)
        console.print(f"note: {known}" if known else "the fingerprint is that of this log")
    console.print(
        f"{job}: {result.state}, {result.events} events, undamaged. "
        f"Fingerprint {result.fingerprint}"
    )
    for other in source or ():
        from handsfree.log.merge import came_from

        console.print(f"note: {came_from(job, other)}", markup=False)
    _tell_seal(job, key, authority)


def _tell_seal(job: Path, keys: list[Path] | None, authority: Path | None) -> None:
    """Say who has sealed a job and when.

    Raises:
        Damaged: it is not as it was sealed, or was not sealed with the key that was given.
    """
    from handsfree.seal import Trusted, seal_status
    from handsfree.seal.stamp import stamp_name, stamp_of

    status = seal_status(job, Trusted.here(keys or ()))
    if status.state == "changed" or (keys and status.state == "not sealed"):
        raise Damaged(
            status.sentence, where=str(job), remedy="Do not rely on it; ask who sealed it."
        )
    for line in (status.sentence, *(f"note: {remark}" for remark in status.remarks)):
        console.print(line, markup=False)
    if status.last is None or not (authority or (job / stamp_name(status.last.seal)).exists()):
        return
    stamp = stamp_of(job, status.last.seal, authority.read_bytes() if authority else None)
    console.print(str(stamp) if stamp else "no time stamp")


def recover_job(
    job: JobArgument,
    to: Annotated[
        Path | None, typer.Option("--to", help="Folder of the new job; else beside the old one.")
    ] = None,
    plan: Annotated[
        Path | None, typer.Option("--plan", help="The plan as used, if that of the job is gone.")
    ] = None,
) -> None:
    """Make a new job of what is whole of a damaged one, up to the damage."""
    used = None if plan is None else load_plan(plan).text.encode()
    done = recover(job, to or job.with_name(f"{job.resolve().name}-recovered"), used)
    console.print(f"{done.folder}: {done.kept} events recovered; {job} stays as it is")
    for missing in done.missing:
        console.print(f"missing: {missing}")
    console.print(f"Go on with: handsfree resume {done.folder}")
