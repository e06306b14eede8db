"""The edge where dialogue, log and voice meet: one dictation of one plan."""

from handsfree.job.job import Job
from handsfree.job.records import restore

__all__ = ["Job", "restore"]
