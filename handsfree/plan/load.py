"""Plans from files: the shipped ones by name, others by path."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

from rapidfuzz import process

from handsfree.errors import BadInput
from handsfree.fields import FieldPath
from handsfree.plan.adapted import NotAdapted, adapted, in_vehicle, is_vehicle
from handsfree.plan.derived import is_description
from handsfree.plan.document import Mistake, read_document, write_document
from handsfree.plan.parse import BadPlan, parse_plan, parse_vehicle
from handsfree.plan.references import Problem, items
from handsfree.plan.schema import Plan
from handsfree.plan.sheet import in_sheet, is_sheet

_LARGEST = 1_000_000  # bytes; a plan is a few tens of kilobytes
_SHIPPED = files("handsfree.plan") / "shipped"
_TITLE = re.compile(r"^title: (.+)$", re.MULTILINE)


@dataclass(frozen=True, slots=True)
class LoadedPlan:
    """A plan with the text it was read from.

    Attributes:
        plan: the plan.
        text: its YAML text as a job keeps it, from which it is read again without other files: as
            it was read, or of a vehicle the description of its kind with what differs in it.
        source: name of the shipped plan, or path of the file.
        file: the text of the file, if that is another.
    """

    plan: Plan
    text: str
    source: str
    file: str = ""

    def refuse(self, problems: Iterable[Problem]) -> None:
        """Refuse the plan for all of these (path of the field, message), if there are any.

        Raises:
            BadPlan: with file, line and field of each.
        """
        if found := list(problems):
            kept = read_document(self.text)
            document = read_document(self.file) if self.file else kept
            placed = [
                (self._written(path, kept.data, document.data), message) for path, message in found
            ]
            faults = [Mistake(document.line(path), path, message) for path, message in placed]
            raise BadPlan(self.source, document, faults)

    def _written(self, path: FieldPath, data: Any, file: Any) -> FieldPath:
        """Where a field of the plan is written, in the file that a person has before them.

        Args:
            path: of the field.
            data: what the job keeps.
            file: what stands in the file.
        """
        match path:
            case ("steps", int(index), *_) if is_description(data):
                path = ("override", self.plan.steps[index].id)
            case ("connector", "pins", int(index), field) if is_description(data):
                function = self.plan.connector.pins[index].function
                names = [strand.get("name") for strand in items(data, "loom")]
                name = "colour" if field == "stripe" else field
                path = ("loom", names.index(function), name)
        if is_sheet(data):
            path = in_sheet(path)
        return in_vehicle(path, data, file) if self.file else path


def shipped() -> tuple[str, ...]:
    """Names of the shipped plans, sorted."""
    names = (entry.name for entry in _SHIPPED.iterdir())
    return tuple(sorted(name.removesuffix(".yaml") for name in names if name.endswith(".yaml")))


def titles() -> dict[str, str]:
    """The titles of the shipped plans by their names; nothing else of them is worked out."""
    texts = {name: (_SHIPPED / f"{name}.yaml").read_text(encoding="utf-8") for name in shipped()}
    return {name: _TITLE.search(text)[1] for name, text in texts.items()}  # type: ignore[index]


#: The sheet with which a free job begins.  Up to 60 V DC is voltage class A of UNECE R100 and
#: ISO 6469-3 (from memory): beyond it nobody probes without the maker's procedure.
_FREE = """\
title: Free job
free: true
cautions:
  - Stay away from airbag circuits and orange cables; the maker's procedure comes first there.
supply: 12 V
limits: {voltage: 60 V}
wires: []
conditions: [as found]
"""


def free_plan() -> LoadedPlan:
    """The plan of a job without a plan: nothing is known yet, and nothing is expected."""
    return LoadedPlan(parse_plan(_FREE, "free"), _FREE, "free")


def load_plan(name_or_path: str | Path) -> LoadedPlan:
    """A shipped plan by its name, or any plan by the path of its file.

    Raises:
        BadInput: there is no such plan or it cannot be read; `BadPlan` if it is faulty.
    """
    return _load(str(name_or_path), ())


def _load(name: str, outer: tuple[Path, ...]) -> LoadedPlan:
    """A plan; `outer` are the files that are made like it."""
    if name in shipped():
        text = (_SHIPPED / f"{name}.yaml").read_text(encoding="utf-8")
        return LoadedPlan(parse_plan(text, f"{name}.yaml"), text, name)
    return _loaded(_read(Path(name), name), name, outer)


def load_text(text: str, name: str) -> LoadedPlan:
    """A plan from the text of a file that may not be there yet; `name` is its path.

    Raises:
        BadInput: a plan that it is made like cannot be read; `BadPlan` if it is faulty.
    """
    return _loaded(text, name, ())


def _loaded(text: str, name: str, outer: tuple[Path, ...]) -> LoadedPlan:
    if is_vehicle(read_document(text).data):
        return _of_vehicle(Path(name), text, (*outer, Path(name).resolve()))
    return LoadedPlan(parse_plan(text, name), text, name)


def _of_vehicle(path: Path, text: str, outer: tuple[Path, ...]) -> LoadedPlan:
    """The plan of a file that names a kind and what differs from it."""
    vehicle, document = parse_vehicle(text, str(path))

    def refusal(problems: Iterable[Problem]) -> BadPlan:
        return BadPlan(str(path), document, [Mistake(document.line(p), p, m) for p, m in problems])

    like = vehicle.like if vehicle.like in shipped() else str(path.parent / vehicle.like)
    if Path(like).resolve() in outer:
        raise refusal([(("like",), f"{vehicle.like!r} is made like this very file")])
    try:
        kind = _load(like if Path(like).exists() else vehicle.like, outer)
    except BadPlan:
        raise
    except BadInput as error:
        raise refusal([(("like",), str(error))]) from error
    data = read_document(kind.text).data
    if not is_description(data):
        message = f"{vehicle.like!r} is written out step by step; only a plan that describes its "
        raise refusal(
            [(("like",), f"{message}circuit can be adapted. Copy it and change the copy")]
        )
    try:
        merged = adapted(data, vehicle)
    except NotAdapted as error:
        raise refusal(error.problems) from error
    whole = f"{_heading(vehicle.like, text)}{write_document(merged)}"
    try:
        return LoadedPlan(parse_plan(whole, str(path)), whole, str(path), text)
    except BadPlan as error:
        found = [(in_vehicle(f.path, merged, document.data), f.message) for f in error.faults]
        raise refusal(found) from error


def _heading(like: str, text: str) -> str:
    """What a plan was made of, as comments."""
    rows = [f"# Like {like}, with what differs:", *(f"#   {row}" for row in text.splitlines())]
    return "\n".join(row.rstrip() for row in rows) + "\n"


def _read(path: Path, name: str) -> str:
    """The text of a plan file."""
    try:
        with path.open("rb") as file:
            content = file.read(_LARGEST + 1)
    except IsADirectoryError as error:
        raise BadInput("a folder, not a plan file", where=name, remedy=_others(path)) from error
    except (FileNotFoundError, NotADirectoryError) as error:
        raise _unknown(path, name) from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise BadInput(f"cannot be read: {reason}", where=name) from error
    if len(content) > _LARGEST:
        raise BadInput("larger than a megabyte; this is no plan", where=name)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise BadInput(
            "not UTF-8 text", where=f"{name}, line {line}", remedy="Save the file as UTF-8."
        ) from error


def _unknown(path: Path, name: str) -> BadInput:
    """There is neither a shipped plan nor a file of this name."""
    if path.suffix in (".yaml", ".yml") or path.parent != Path():
        return BadInput("there is no such file", where=name, remedy=_others(path.parent))
    nearest = process.extractOne(name, shipped(), score_cutoff=60)
    guess = f"Did you mean {nearest[0]!r}? " if nearest else ""
    names = ", ".join(shipped())
    return BadInput(
        f"there is no plan {name!r}",
        remedy=f"{guess}Shipped plans: {names}. Or give the path of a plan file.",
    )


def _others(folder: Path) -> str:
    """What could be given instead of something in `folder`."""
    found = sorted(str(p) for p in folder.glob("*.y*ml")) if folder.is_dir() else []
    if found:
        return f"Plan files there: {', '.join(found[:10])}."
    return f"Give a plan file, or a shipped plan: {', '.join(shipped())}."
