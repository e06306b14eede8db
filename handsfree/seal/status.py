"""Whether a job or a file is sealed, by whom and when, and still as it was."""

from __future__ import annotations

from pathlib import Path

from handsfree.errors import BadInput, Damaged
from handsfree.log import read, verify
from handsfree.log.folder import SEALS, NotPlain, read_file, told_plainly
from handsfree.seal.judging import SealStatus, judge_file, judge_job
from handsfree.seal.keys import Trusted, seal_folder
from handsfree.seal.ledger import Ledger
from handsfree.seal.sealing import beside, file_digest
from handsfree.seal.statement import Seal, read_seals


def seal_status(
    job: Path, trusted: Trusted | None = None, ledger: Path | None = None
) -> SealStatus:
    """Whether a job is sealed.  Where this machine has sealed it, its list is asked as well.

    Args:
        job: its folder.
        trusted: keys that are known otherwise than by the seals; None for those of this machine.
        ledger: folder of the list of seals; None for this machine's own.

    Raises:
        BadInput: it is no job folder, or cannot be read.
    """
    events, found = read(job), verify(job)
    try:
        seals, bad = read_seals(read_file(job, SEALS) or b"")
    except NotPlain as error:
        return SealStatus("changed", None, (f"{SEALS}: {error.what}",))
    try:
        made_here, unread = Ledger(ledger or seal_folder()).read(), ""
    except (Damaged, BadInput) as error:
        made_here, unread = (), f"the list of seals on this machine cannot be used: {error}"
    damage = str(found.problems[0]) if found.problems else ""
    own = Trusted.here() if trusted is None else trusted
    status = judge_job(events, seals, bad, own, [one.seal for one in made_here], damage)
    if unread:
        remarks = (*status.remarks, unread)
        return SealStatus(status.state, status.last, status.problems, remarks)
    return status


def file_status(file: Path, job: Path | None = None, trusted: Trusted | None = None) -> SealStatus:
    """Whether a file is sealed, and, if its job is at hand, whether it is of that job.

    Raises:
        BadInput: the file cannot be read, or the folder is no job.
    """
    digest, where = file_digest(file), beside(file)
    if not where.is_file():
        return SealStatus("not sealed", None)
    with told_plainly(where):
        data = where.read_bytes()[: 1 << 16]
    try:
        seal = Seal.decode(data)
    except ValueError:
        return SealStatus("changed", None, ("the seal itself was changed",))
    own = Trusted.here() if trusted is None else trusted
    return judge_file(digest, file.name, seal, own, None if job is None else read(job))
