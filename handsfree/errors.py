"""Errors for people: what is wrong, where, and what to do about it.

Every error that a user can cause is a `HandsfreeError`; the command line prints it
without a traceback and ends with its exit code.
"""

from __future__ import annotations


class HandsfreeError(Exception):
    """An error with a place and a remedy.

    Args:
        what: what is wrong, in one sentence.
        where: file, line or field, if known.
        remedy: what the user can do, if anything.
    """

    exit_code = 2

    def __init__(self, what: str, *, where: str | None = None, remedy: str | None = None) -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.remedy = remedy

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}" if self.where else self.what
        return f"{text}\n  {self.remedy}" if self.remedy else text


class BadInput(HandsfreeError):
    """Wrong use, or a file that cannot be used (exit code 2)."""

    exit_code = 2


class Damaged(HandsfreeError):
    """A job folder that is not as it was written (exit code 3)."""

    exit_code = 3


class Missing(HandsfreeError):
    """A device, engine, model or voice that is not there (exit code 4)."""

    exit_code = 4
