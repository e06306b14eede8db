"""The edge where dialogue, log and voice meet: one dictation of one plan."""

from handsfree.job.job import Job

__all__ = ["Job"]
