"""What the shop has sealed: a list on its own machine, a line a seal, and the next number.

A roll-back of a job to an older copy, seal and all, contradicts nothing within the folder; it
contradicts this list.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from filelock import FileLock
from pydantic import BaseModel, ConfigDict

from handsfree.errors import Damaged
from handsfree.log.folder import FILE_RIGHTS, sync, told_plainly
from handsfree.seal.statement import Seal


class ListedSeal(BaseModel):
    """A seal that was made here.

    Attributes:
        where: the job folder or the file, as it was called then.
        seal: it.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    where: str
    seal: Seal


@dataclass(frozen=True, slots=True)
class Ledger:
    """The list of one machine.

    Args:
        folder: of the shop's key.
    """

    folder: Path

    @property
    def file(self) -> Path:
        """Where it is."""
        return self.folder / "ledger.jsonl"

    def read(self) -> tuple[ListedSeal, ...]:
        """Every seal that was made here, in order.

        Raises:
            Damaged: a line was changed, or lines are missing.
        """
        if not self.file.is_file():
            return ()
        with told_plainly(self.file):
            lines = self.file.read_bytes().splitlines(keepends=True)
        listed: list[ListedSeal] = []
        last: dict[str, int] = {}
        for number, line in enumerate(lines, 1):
            where = f"{self.file}, line {number}"
            try:
                one = ListedSeal.model_validate_json(line)
                Seal.decode(one.seal.encode())
            except ValueError as error:
                raise Damaged("this line of the list of seals was changed", where=where) from error
            stated = one.seal.statement
            due = last.get(stated.key, 0) + 1
            if stated.number != due:
                what = f"seal {stated.number} stands where seal {due} is due"
                raise Damaged(what, where=where)
            last[stated.key] = stated.number
            listed.append(one)
        return tuple(listed)

    @contextmanager
    def next(self, key: str) -> Iterator[tuple[int, Callable[[str, Seal], None]]]:
        """The number of the next seal of a key, and what writes it down; one program at a time."""
        with FileLock(self.folder / "ledger.lock", mode=FILE_RIGHTS):
            of_key = [one for one in self.read() if one.seal.statement.key == key]
            yield len(of_key) + 1, self._add

    def _add(self, where: str, seal: Seal) -> None:
        line = ListedSeal(where=where, seal=seal).model_dump_json().encode() + b"\n"
        with told_plainly(self.file), self.file.open("ab", buffering=0) as file:
            file.write(line)
            sync(file.fileno())
        self.file.chmod(FILE_RIGHTS)
