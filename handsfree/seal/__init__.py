"""The shop's seal: who vouches for a log or a report, since when, and whether it still is that.

`statement` and `judging` are pure; `keys`, `ledger`, `sealing`, `status` and `stamp` are the edge.
"""

from handsfree.seal.judging import Judged, SealStatus
from handsfree.seal.keys import ShopKey, Trusted, load_public, make_key, unlock
from handsfree.seal.sealing import seal_file, seal_job
from handsfree.seal.statement import LIMITS, Seal, Statement
from handsfree.seal.status import file_status, seal_status

__all__ = [
    "LIMITS",
    "Judged",
    "Seal",
    "SealStatus",
    "ShopKey",
    "Statement",
    "Trusted",
    "file_status",
    "load_public",
    "make_key",
    "seal_file",
    "seal_job",
    "seal_status",
    "unlock",
]
