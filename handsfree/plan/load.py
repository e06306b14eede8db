"""Plans from files: the shipped ones by name, others by path."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from rapidfuzz import process

from handsfree.errors import BadInput
from handsfree.plan.derived import is_description
from handsfree.plan.document import Mistake, read_document
from handsfree.plan.fields import FieldPath
from handsfree.plan.parse import BadPlan, parse_plan
from handsfree.plan.references import Problem, items
from handsfree.plan.schema import Plan

_LARGEST = 1_000_000  # bytes; a plan is a few tens of kilobytes
_SHIPPED = files("handsfree.plan") / "shipped"


@dataclass(frozen=True, slots=True)
class LoadedPlan:
    """A plan with the text it was read from.

    Attributes:
        plan: the plan.
        text: its YAML text, as it was read; a job keeps it as the plan used.
        source: name of the shipped plan, or path of the file.
    """

    plan: Plan
    text: str
    source: str

    def refuse(self, problems: Iterable[Problem]) -> None:
        """Refuse the plan for all of these (path of the field, message), if there are any.

        Raises:
            BadPlan: with file, line and field of each.
        """
        document = read_document(self.text)
        placed = [(self._written(path, document.data), message) for path, message in problems]
        faults = [Mistake(document.line(path), path, message) for path, message in placed]
        if faults:
            raise BadPlan(self.source, document, faults)

    def _written(self, path: FieldPath, data: object) -> FieldPath:
        """Where a field of the plan is written: of a step that is derived, what is said by hand."""
        match path:
            case ("steps", int(index), *_) if is_description(data):
                return ("override", self.plan.steps[index].id)
            case ("connector", "pins", int(index), field) if is_description(data):
                function = self.plan.connector.pins[index].function
                names = [strand.get("name") for strand in items(data, "loom")]
                return ("loom", names.index(function), "colour" if field == "stripe" else field)
        return path


def shipped() -> tuple[str, ...]:
    """Names of the shipped plans, sorted."""
    names = (entry.name for entry in _SHIPPED.iterdir())
    return tuple(sorted(name.removesuffix(".yaml") for name in names if name.endswith(".yaml")))


def load_plan(name_or_path: str | Path) -> LoadedPlan:
    """A shipped plan by its name, or any plan by the path of its file.

    Raises:
        BadInput: there is no such plan or it cannot be read; `BadPlan` if it is faulty.
    """
    name = str(name_or_path)
    if name in shipped():
        text = (_SHIPPED / f"{name}.yaml").read_text(encoding="utf-8")
        return LoadedPlan(parse_plan(text, f"{name}.yaml"), text, name)
    text = _read(Path(name_or_path), name)
    return LoadedPlan(parse_plan(text, name), text, name)


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
