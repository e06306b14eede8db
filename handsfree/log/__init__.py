"""Events to evidence: the append-only, hash-chained log of a job.

`chain` and `standing` are pure; `folder`, `writer`, `opening` and `verify` are the edge to the
disk.
"""

from handsfree.log.chain import Event, fingerprint
from handsfree.log.clip import encode_flac
from handsfree.log.opening import open_job
from handsfree.log.standing import Entry, Readings, rows, standing_readings, to_csv
from handsfree.log.verify import Finding, Verification, read, verify
from handsfree.log.writer import JobLog

__all__ = [
    "Entry",
    "Event",
    "Finding",
    "JobLog",
    "Readings",
    "Verification",
    "encode_flac",
    "fingerprint",
    "open_job",
    "read",
    "rows",
    "standing_readings",
    "to_csv",
    "verify",
]
