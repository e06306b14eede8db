"""Events to evidence: the append-only, hash-chained log of a job.

`chain`, `standing` and `consistency` are pure; `folder`, `writer`, `opening`, `verify`, `recover`
and `record` are the edge to the disk, `clip` the sound behind an event.  `JobRecord` is a job for
everybody who reads one.
"""

from handsfree.log.chain import Line, fingerprint
from handsfree.log.clip import encode_flac
from handsfree.log.opening import open_for_review, open_job
from handsfree.log.record import JobRecord
from handsfree.log.recover import Recovery, recover
from handsfree.log.standing import LoggedReading, Readings, rows, standing_readings, to_csv
from handsfree.log.verify import Remark, Verification, compare, read, verify
from handsfree.log.writer import JobLog

__all__ = [
    "JobLog",
    "JobRecord",
    "Line",
    "LoggedReading",
    "Readings",
    "Recovery",
    "Remark",
    "Verification",
    "compare",
    "encode_flac",
    "fingerprint",
    "open_for_review",
    "open_job",
    "read",
    "recover",
    "rows",
    "standing_readings",
    "to_csv",
    "verify",
]
