"""The text of a plan: read, checked, and every error said at once with its line."""

from __future__ import annotations

from functools import cache, lru_cache
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails
from rapidfuzz import process

from handsfree.errors import BadInput
from handsfree.fields import FieldPath, show_path
from handsfree.plan.adapted import Vehicle
from handsfree.plan.consistency import problems
from handsfree.plan.derived import Description, derive, is_description
from handsfree.plan.document import Document, Mistake, read_document
from handsfree.plan.schema import Plan
from handsfree.plan.sheet import FreePlan, Sheet, in_sheet, is_sheet, written_out

_YAML_REMEDY = (
    "Look at that line and the one above it: a missing colon or quote, or wrong indentation. "
    "Indent with spaces, and put text that holds ': ' or ' #' in quotes."
)


#: Errors of a plan that are worked out, and that are listed, at most.
MOST_FOUND, MOST_TOLD = 1000, 200


class BadPlan(BadInput):
    """A plan that cannot be used.

    Attributes:
        faults: everything that is wrong, in the order of the lines.
    """

    def __init__(
        self, source: str, document: Document, faults: list[Mistake], *, remedy: str | None = None
    ) -> None:
        self.faults = tuple(sorted(faults, key=lambda fault: fault.line))
        count = "1 error" if len(faults) == 1 else f"{len(faults)} errors"
        told = self.faults[:MOST_TOLD]
        listed = [f"  {source}, {_place(f, document)}: {f.message}" for f in told]
        if len(told) < len(self.faults):
            listed.append(f"  and {len(self.faults) - len(told)} more")
        super().__init__("\n".join([f"the plan has {count}", *listed]), remedy=remedy)


def parse_plan(text: str, source: str = "<text>") -> Plan:
    """A plan from its YAML text.

    Args:
        text: the YAML document.
        source: name of the file, for messages.

    Raises:
        BadPlan: something is wrong; every error is listed with file, line and field.
    """
    try:
        return _parsed(text)
    except _Faulty as found:
        raise found.of(source) from None


class _Faulty(Exception):
    """What is wrong with a text of which it is not known yet where it comes from."""

    def __init__(
        self, document: Document, faults: list[Mistake], remedy: str | None = None
    ) -> None:
        self._document, self._faults, self._remedy = document, faults, remedy

    def of(self, source: str) -> BadPlan:
        """The same of a file, or whatever else it was read from."""
        return BadPlan(source, self._document, self._faults, remedy=self._remedy)


@lru_cache(maxsize=64)  # more than are shipped; half a megabyte each
def _parsed(text: str) -> Plan:
    """The plan of a text, the same one each time."""
    document = _document(text)
    faults = list(document.faults)
    written = is_description(document.data)
    plan, data = None, document.data
    sheet = is_sheet(data)
    try:
        if sheet:
            told = Sheet.model_validate(data)
            data = written_out(told)
            plan = (FreePlan if told.free else Plan).model_validate(data)
        elif written:
            data = derive(Description.model_validate(data))
            plan = Plan.model_validate(data).derived_from(document.data)
        else:
            plan = Plan.model_validate(data)
    except ValidationError as error:
        found = error.errors(include_url=False)[:MOST_FOUND]
        faults += (_fault(details, document) for details in found if not _miscounted(details))
    except BadInput as error:
        faults.append(Mistake(document.line(("parts",)), ("parts",), str(error)))
    if plan is not None or not (written or sheet):
        told_at = in_sheet if sheet else tuple
        found_more = [(told_at(path), message) for path, message in problems(data)]
        faults += (Mistake(document.line(p), p, message) for p, message in found_more)
    if plan is None or faults:
        raise _Faulty(document, faults)
    return plan


def parse_vehicle(text: str, source: str = "<text>") -> tuple[Vehicle, Document]:
    """What differs in a vehicle from the kind that it names, and the document it stands in.

    Raises:
        BadPlan: something is wrong; every error is listed with file, line and field.
    """
    try:
        document = _document(text)
    except _Faulty as faulty:
        raise faulty.of(source) from None
    faults = list(document.faults)
    try:
        vehicle = Vehicle.model_validate(document.data)
    except ValidationError as error:
        found = error.errors(include_url=False)[:MOST_FOUND]
        faults += (_fault(details, document) for details in found)
    if faults:
        raise BadPlan(source, document, faults)
    return vehicle, document


def _document(text: str) -> Document:
    """The document, which is made of named fields.

    Raises:
        _Faulty: it is not.
    """
    document = read_document(text)
    faults = list(document.faults)
    if document.data is None:
        yaml_error = bool(faults)
        faults = faults or [Mistake(1, (), "the plan is empty")]
        remedy = _YAML_REMEDY if yaml_error else "`handsfree plan show` prints a shipped plan."
        raise _Faulty(document, faults, remedy)
    if not isinstance(document.data, dict):
        message = "a plan is made of named fields, such as 'title: …'"
        raise _Faulty(document, [*faults, Mistake(1, (), message)])
    return document


def json_schema() -> dict[str, Any]:
    """The JSON Schema (draft 2020-12) of a plan in each of its four forms."""
    written = Plan.model_json_schema()
    described = Description.model_json_schema(by_alias=True)
    differing = Vehicle.model_json_schema()
    sheet = Sheet.model_json_schema()
    models = (written, described, differing, sheet)
    defs = {name: one for model in models for name, one in model.pop("$defs", {}).items()}
    others = {"if": {"required": ["steps"]}, "then": written, "else": sheet}
    others = {"if": {"required": ["like"]}, "then": differing, "else": others}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$defs": defs,
        "if": {"required": ["loom"]},
        "then": described,
        "else": others,
    }


def _place(fault: Mistake, document: Document) -> str:
    """ "line 34, steps[3] (motor_winding).expect.low"."""
    place = f"line {fault.line}"
    return f"{place}, {_named(fault.path, document.data)}" if fault.path else place


def _named(path: FieldPath, data: Any) -> str:
    """The path with the names of its items beside their numbers."""
    text = ""
    for part in path:
        text += show_path((part,)) if isinstance(part, int) or not text else f".{part}"
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            data = None
        if isinstance(part, int) and isinstance(data, dict):
            names = (data.get(key) for key in ("id", "part", "number", "value"))
            name = next((n for n in names if isinstance(n, str | int)), None)
            text += f" ({name})" if name is not None else ""
    return text


def _fault(error: ErrorDetails, document: Document) -> Mistake:
    path = document.existing(error["loc"])
    line = document.line(path)
    match error["type"]:
        case "missing":
            path = (*path, error["loc"][-1])
        case "union_tag_invalid" | "union_tag_not_found":
            path = (*path, error["ctx"]["discriminator"].strip("'"))
            line = document.line(path)
    return Mistake(line, path, _message(error))


def _miscounted(error: ErrorDetails) -> bool:
    """Whether a list has enough entries: those with faults of their own were not counted."""
    given = error["input"]
    counts = error["type"] == "too_short" and isinstance(given, list | dict)
    return counts and len(given) >= error["ctx"]["min_length"]


def _message(error: ErrorDetails) -> str:
    """What pydantic found, in a plan author's words."""
    given = error["input"]
    match error["type"]:
        case "missing":
            return "is missing"
        case "union_tag_not_found":
            return "is missing" if isinstance(given, dict) else "should be made of named fields"
        case "union_tag_invalid":
            return f"{error['ctx']['tag']!r} is not one of {error['ctx']['expected_tags']}"
        case "extra_forbidden":
            return f"there is no field of this name{_nearest(str(error['loc'][-1]))}"
        case "value_error":
            return str(error["ctx"]["error"])
        case "contradiction":
            return error["msg"]
        case "literal_error":
            return f"{given!r} is not one of {error['ctx']['expected']}"
        case "string_type":
            hint = "; put it in quotes" if isinstance(given, bool | int | float) else ""
            return f"should be text{hint}"
        case "string_too_short":
            return "is empty"
        case "string_pattern_mismatch":
            return f"{given!r} should be of the letters a-z, digits and _, a letter first"
        case "too_short":
            return "has too few entries"
        case "model_type" | "dict_type":
            return "should be made of named fields"
        case "tuple_type":
            return "should be a list"
        case _:
            return error["msg"].removeprefix("Input ")


@cache
def _field_names() -> tuple[str, ...]:
    schema = json_schema()
    forms, rest = [], schema
    while "then" in rest:
        forms.append(rest["then"])
        rest = rest["else"]
    forms.append(rest)
    models = [*forms, *schema["$defs"].values()]
    return tuple(dict.fromkeys(name for model in models for name in model.get("properties", ())))


def _nearest(name: str) -> str:
    found = process.extractOne(name, _field_names(), score_cutoff=70)
    return f"; did you mean {found[0]!r}?" if found else ""
