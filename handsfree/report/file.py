"""The report of a job folder, written to a file: HTML or PDF by its ending."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from handsfree.errors import BadInput
from handsfree.log import JobRecord, Verification, verify
from handsfree.log.folder import PHOTOS
from handsfree.report.page import Paper, render
from handsfree.report.pdf import to_pdf
from handsfree.seal import seal_status


def report_file(job: Path, output: Path, paper: Paper = "a4") -> Verification:
    """Write the report of a job folder; that of a damaged one says so first.

    Returns:
        What `verify` found, which the report tells.

    Raises:
        BadInput: it is no job folder, or the report cannot be written, or not in that format.
        Damaged: the log cannot be read.
        Missing: what makes a PDF is not installed.
    """
    ending = output.suffix.lower()
    if ending not in (".html", ".htm", ".pdf"):
        raise BadInput(
            f"a report is written as HTML or PDF, not as {ending or 'a file without an ending'}",
            where=str(output),
            remedy="Give a name that ends in .html or .pdf.",
        )
    record = JobRecord.read(job)
    check, seal = verify(job), _sealed(job)
    if ending == ".pdf":  # nobody hears paper
        photos = partial(_photo, record)
        made = to_pdf(render(record, check, photos, seal=seal, paper=paper, printed=True))
    else:
        made = render(record, check, record.clip, seal=seal, paper=paper).encode()
    try:
        _put(output, made)
    except OSError as error:
        raise BadInput(
            f"the report cannot be written: {error.strerror}",
            where=str(output),
            remedy="Choose another place with -o.",
        ) from error
    return check


def _sealed(job: Path) -> str | None:
    """Who vouches for the job, in a sentence; None if nobody does."""
    status = seal_status(job)
    if status.state == "not sealed":
        return None
    return f"{status.sentence[0].upper()}{status.sentence[1:]}."


def _photo(record: JobRecord, name: str) -> bytes | None:
    return record.clip(name) if name.startswith(PHOTOS) else None


def _put(output: Path, data: bytes) -> None:
    """Write a file, whole or not at all; where a link stands it is replaced, and not followed."""
    ready = output.with_name(f"{output.name}.new")
    ready.unlink(missing_ok=True)
    with ready.open("xb") as file:  # no link is followed to make a new file
        file.write(data)
    ready.replace(output)
