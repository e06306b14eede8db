"""The kinds of field that a plan and its meter are made of: quantities, spoken words ..."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from math import isfinite
from typing import Annotated, Any, Self, TypeAlias, TypeVar

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Discriminator,
    Field,
    PlainSerializer,
    Tag,
    ValidationError,
    WithJsonSchema,
    model_validator,
)
from pydantic_core import InitErrorDetails, PydanticCustomError

from handsfree.units import Quantity, parse_quantity, show, ureg

#: The source of what every technician knows and no book says.
COMMON_PRACTICE = "common practice, no published source"
#: A pin as it is printed: digits with letters before or behind them, or one letter.
_PIN = re.compile(r"[A-Za-z]{0,3}[0-9]{1,4}[A-Za-z]{0,2}|[A-Za-z]")
_NUMBER = re.compile(r"0|[1-9][0-9]*")

_SPOKEN = r"[^\W\dA-Z_]+('[^\W\dA-Z_]+)?"
_PHRASE = re.compile(rf"{_SPOKEN}( {_SPOKEN})*")


def _quantity(value: Any) -> Any:
    if isinstance(value, ureg.Quantity):
        return value
    if isinstance(value, int | float):
        raise ValueError(f"{value} has no unit; write it as '{value} V', for example")
    if not isinstance(value, str):
        raise ValueError("write a number with a unit, such as '4.8 V'")
    number = parse_quantity(value)
    if not isfinite(number.magnitude):
        raise ValueError(f"{value!r} is too large a number")
    if number.units == ureg.dimensionless:
        raise ValueError(f"{value!r} has no unit; write it as '{value.strip()} V', for example")
    return number


def _spoken(text: str) -> str:
    if not _PHRASE.fullmatch(text):
        raise ValueError(
            f"{text!r} cannot be spoken; write it in lower-case words, digits as words too, "
            "such as 'five volt reference'"
        )
    return text


def is_pin(text: str) -> bool:
    """Whether a text is a pin's label."""
    return bool(_PIN.fullmatch(text))


def pin_label(value: Any) -> Any:
    """A pin as written in a plan or a log, as its label: 3 is "3"."""
    if isinstance(value, int) and not isinstance(value, bool) and value >= 0:
        value = str(value)
    if not isinstance(value, str) or not is_pin(value):
        raise ValueError(
            f"{str(value)[:40]!r} is no pin; write its label as it is printed, letters and "
            "digits: 3, 85, A2"
        )
    return value


def written_pin(label: str) -> int | str:
    """A pin's label as it is written: a number where it is one, as it always was."""
    return int(label) if _NUMBER.fullmatch(label) else label


def _one_or_several(value: Any) -> str:
    return "several" if isinstance(value, list | tuple) else "one"


T = TypeVar("T")

OneOrSeveral = Annotated[
    Annotated[T, Tag("one")] | Annotated[tuple[T, ...], Field(min_length=1), Tag("several")],
    Discriminator(_one_or_several),
]
"""One value, or a list of them."""

PlanQuantity = Annotated[
    Quantity,
    BeforeValidator(_quantity),
    PlainSerializer(show, return_type=str),
    WithJsonSchema(
        {
            "type": "string",
            "pattern": r"^\s*[+\-−]?\s*[.\d].*[^\s\d]\s*$",
            "examples": ["4.8 V", "120 Ω", "5 %"],
        }
    ),
]
"""A number with a unit, such as "4.8 V"."""

Spoken = Annotated[
    str,
    AfterValidator(_spoken),
    WithJsonSchema({"type": "string", "pattern": r"^[^\dA-Z]+$", "examples": ["sensor ground"]}),
]
"""Words that can be said: lower case, no digits, no signs."""

PinLabel = Annotated[
    str,
    BeforeValidator(pin_label),
    PlainSerializer(written_pin, return_type=int | str),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "integer", "minimum": 0},
                {"type": "string", "pattern": f"^({_PIN.pattern})$"},
            ],
            "examples": [3, 85, "A2"],
        }
    ),
]
"""A pin as it is printed on its connector: "3", "85", "A2"."""

Colours = Annotated[
    dict[Spoken, tuple[Spoken, ...]],
    Field(description="a colour that the grammar lacks, to other words for it: {lilac: [mauve]}"),
]
"""Colours of the plan's own, as they are spelled and said."""

Identifier = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$")]
"""A name for reference within the plan, such as "motor_winding"."""

Text = Annotated[str, Field(min_length=1)]
"""Text that may not be empty."""


FieldPath: TypeAlias = tuple[str | int, ...]
"""The way to a field, such as ("steps", 3, "expect", "low")."""


def show_path(path: FieldPath) -> str:
    """A path as it is written: "steps[3].expect.low"."""
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part}" if text else str(part)
    return text


def refuse(contradictions: Iterable[tuple[FieldPath, str]]) -> None:
    """Within a validator: raise one error for all of these, if there are any."""
    errors = [
        InitErrorDetails(
            type=PydanticCustomError("contradiction", "{message}", {"message": message}),
            loc=path,
            input=None,
        )
        for path, message in contradictions
    ]
    if errors:
        raise ValidationError.from_exception_data("plan", errors)


class PlanModel(BaseModel):
    """What every part of a plan is: frozen, without unknown fields, consistent in itself."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, arbitrary_types_allowed=True, allow_inf_nan=False
    )

    def contradictions(self) -> Iterator[tuple[FieldPath, str]]:
        """What does not fit together in this part: path of the field, message."""
        yield from ()

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        refuse(self.contradictions())
        return self
