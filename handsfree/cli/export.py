"""`handsfree export`: jobs for other programs, and for the customer whose they are."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from handsfree.cli.output import console, print_json
from handsfree.errors import BadInput
from handsfree.export import captions, export_schema, pack, pick, tidy
from handsfree.export.tables import to_json, to_parquet, to_tidy_csv
from handsfree.log import JobRecord

#: What is written, by the ending of the file.
ENDINGS = {
    ".csv": "the readings, a row each (UTF-8, units in UCUM)",
    ".json": "jobs and readings, by --schema",
    ".parquet": "the readings, as in .csv",
    ".vtt": "what was said, as captions (WebVTT); of one job",
    ".zip": "the whole jobs, with a manifest",
}
#: What a job may be picked by.
FIELDS = ("customer", "vehicle", "registration", "order", "technician", "component")


def register(app: typer.Typer) -> None:
    """Add this command."""
    example = "Example: handsfree export jobs -o ross.zip --where 'customer=M. Ross'"
    app.command("export", epilog=example)(export)


def export(
    jobs: Annotated[
        list[Path] | None, typer.Argument(metavar="JOB...", help="Job folders, or folders of them.")
    ] = None,
    output: Annotated[
        Path | None,
        typer.Option("-o", "--output", help=f"Its ending says what: {', '.join(ENDINGS)}."),
    ] = None,
    where: Annotated[
        list[str] | None,
        typer.Option("--where", help=f"Only jobs with FIELD=TEXT: {', '.join(FIELDS)}."),
    ] = None,
    history: Annotated[
        bool,
        typer.Option("--history/--standing", help="Also corrected and struck readings, or not."),
    ] = True,
    schema: Annotated[
        bool, typer.Option("--schema", help="The JSON Schema of .json, and no more.")
    ] = False,
) -> None:
    """Write jobs for other programs: a table, JSON, Parquet, captions, or an archive of them."""
    if schema:
        print_json(export_schema())
        return
    if not jobs or output is None:
        raise BadInput(
            "name jobs, and a file with -o", remedy="Example: handsfree export jobs -o all.csv"
        )
    ending = output.suffix.lower()
    if ending not in ENDINGS:
        known = "; ".join(f"{name}: {what}" for name, what in ENDINGS.items())
        raise BadInput(f"nothing is written as {ending or 'that'}", where=str(output), remedy=known)
    picked = pick(jobs, dict(map(_condition, where or ())))
    data, told = _written_as(ending, picked, history=history)
    _write_file(output, data)
    console.print(f"{output}: {told}", markup=False)


def _written_as(ending: str, jobs: list[Path], *, history: bool) -> tuple[bytes, str]:
    if ending == ".zip":
        packed = pack(jobs)
        return packed.data, f"{packed.jobs} jobs, {packed.files} files"
    records = tuple(map(JobRecord.read, jobs))
    if ending == ".vtt":
        if len(records) != 1:
            raise BadInput("captions are of one job", remedy="Name one.")
        return captions(records[0]), "captions"
    if ending == ".json":
        return to_json(records, history=history), f"{len(records)} jobs"
    rows = [row for record in records for row in tidy(record, history=history)]
    write = to_tidy_csv if ending == ".csv" else to_parquet
    return write(rows), f"{len(rows)} readings of {len(records)} jobs"


def _condition(text: str) -> tuple[str, str]:
    name, sign, wanted = text.partition("=")
    if not sign or name not in FIELDS or not wanted.strip():
        known = ", ".join(FIELDS)
        raise BadInput(f"{text!r} is no FIELD=TEXT", where="--where", remedy=f"Fields: {known}")
    return name, wanted


def _write_file(output: Path, data: bytes) -> None:
    """Write a file whole or not at all; where a link stands it is replaced, and not followed."""
    ready = output.with_name(f"{output.name}.new")
    try:
        ready.unlink(missing_ok=True)
        with ready.open("xb") as file:
            file.write(data)
        ready.replace(output)
    except OSError as error:
        raise BadInput(f"it cannot be written: {error.strerror}", where=str(output)) from error
