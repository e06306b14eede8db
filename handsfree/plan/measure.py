"""What a step measures, and what it expects of it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

from pydantic import ConfigDict, Field

from handsfree.fields import FieldPath, OneOrSeveral, PlanModel, PlanQuantity, Spoken
from handsfree.units import KINDS, Kind, fits, quantity, show

StateName = Literal[
    "ground",
    "battery",
    "open",
    "continuity",
    "pulsing",
    "dead",
    "short to ground",
    "short to supply",
    "switches to supply",
    "switches to ground",
    "reverses",
    "unchanged",
]

#: States that an ohmmeter, or nothing but the eye, tells.
_WITHOUT_VOLTS = frozenset({"open", "continuity", "pulsing"})
#: Quantities for which the meter drives a current of its own.
OHMMETER_KINDS = ("resistance", "capacitance")
#: Quantities for which the red lead is in the jack for volts and ohms.
VOLTS_JACK_KINDS = ("voltage", "frequency", "duty cycle", *OHMMETER_KINDS)


class Option(PlanModel):
    """One answer to an observation."""

    value: Spoken
    names: tuple[Spoken, ...] = Field((), description="other ways to say it")


class Measure(PlanModel):
    """What is measured: exactly one of a quantity, a state or an observation."""

    quantity: Kind | None = None
    unit: str | None = Field(None, description="unit meant when none is spoken")
    states: tuple[StateName, ...] | None = Field(None, min_length=1)
    options: tuple[Option, ...] | None = Field(
        None, min_length=1, description="answers to an observation"
    )

    def contradictions(self) -> Iterator[tuple[FieldPath, str]]:
        """None or several things measured; a unit that is not of the quantity."""
        given = [n for n in ("quantity", "states", "options") if getattr(self, n) is not None]
        if len(given) != 1:
            yield (), "give exactly one of quantity, states, options"
        elif self.unit and not self.quantity:
            yield ("unit",), "a unit belongs to a quantity"
        elif self.unit and self.quantity:
            try:
                right = fits(quantity(1, self.unit), KINDS[self.quantity])
            except ValueError as error:
                yield ("unit",), str(error)
            else:
                if not right:
                    yield ("unit",), f"{self.unit!r} is no unit of {self.quantity}"

    @property
    def bare_unit(self) -> str:
        """The unit of a number that is said without one: volts too, where a state has them."""
        volts = bool(set(self.states or ()) - _WITHOUT_VOLTS)
        return "V" if volts else self.base_unit

    @property
    def base_unit(self) -> str:
        """The unit meant when none is spoken; empty if no quantity is measured."""
        return (self.unit or KINDS[self.quantity]) if self.quantity else ""


class AtTemperature(PlanModel):
    """The limits at one temperature."""

    at: PlanQuantity
    low: PlanQuantity
    high: PlanQuantity

    def contradictions(self) -> Iterator[tuple[FieldPath, str]]:
        """No temperature; limits that cannot be compared."""
        if not self.at.is_compatible_with("degC"):
            yield ("at",), f"{show(self.at)} is no temperature"
        if not self.low.is_compatible_with(self.high):
            yield (), f"{show(self.low)} and {show(self.high)} cannot be compared"


class Expect(PlanModel):
    """What is expected: exactly one of these forms.

    - `low` and/or `high`: limits; with `by` (id of an earlier step) and `points` those at the
      temperature that was measured there, in between in proportion; as long as it is not, or is
      beyond them, `low` and `high` hold;
    - `nominal` with `tolerance` (a quantity, or a percentage of the nominal);
    - `near` (id of an earlier step) with `within`: close to another reading;
    - `share_of` (id of an earlier step) with `low` and/or `high` in percent of it;
    - `over_range: true`: beyond the meter's range (an open circuit);
    - `state` (one or several that are right);
    - `answer` (one or several that are right);
    - `nothing: true`: what is read is logged, and not judged.
    """

    model_config = ConfigDict(serialize_by_alias=True)

    low: PlanQuantity | None = None
    high: PlanQuantity | None = None
    nominal: PlanQuantity | None = None
    tolerance: PlanQuantity | None = None
    near: str | None = None
    within: PlanQuantity | None = None
    share_of: str | None = None
    over_limit: bool = Field(False, alias="over_range")
    state: OneOrSeveral[StateName] | None = None
    answer: OneOrSeveral[str] | None = None
    nothing: bool = False
    by: str | None = Field(None, description="earlier step that measures a temperature")
    points: tuple[AtTemperature, ...] = Field((), description="limits by that temperature, rising")

    def contradictions(self) -> Iterator[tuple[FieldPath, str]]:
        """No form or several forms; halves of a form; limits the wrong way round."""
        limits = self.low is not None or self.high is not None
        forms = [
            limits and self.share_of is None,
            self.nominal is not None,
            self.near is not None,
            self.share_of is not None,
            self.over_limit,
            self.state is not None,
            self.answer is not None,
            self.nothing,
        ]
        if sum(forms) != 1:
            yield (
                (),
                "give exactly one of: low/high, nominal with tolerance, near with within, "
                "share_of with low/high, over_range, state, answer, nothing",
            )
        if (self.nominal is None) != (self.tolerance is None):
            yield (), "nominal and tolerance belong together"
        elif self.nominal is not None and self.tolerance is not None:
            width = self.tolerance
            if not width.dimensionless and not width.is_compatible_with(self.nominal):
                yield ("tolerance",), f"{show(width)} is neither a percentage nor comparable"
        if (self.near is None) != (self.within is None):
            yield (), "near and within belong together"
        if self.share_of is not None:
            if not limits:
                yield (), "share_of needs low or high in percent"
            for name in ("low", "high"):
                bound = getattr(self, name)
                if bound is not None and not bound.dimensionless:
                    yield (name,), f"{show(bound)} is no share; write a percentage, such as '80 %'"
        if (self.by is None) == bool(self.points) or (self.by and not limits):
            yield (), "by, points and low/high belong together"
        if self.low is not None and self.high is not None:
            if not self.low.is_compatible_with(self.high):
                yield (), f"{show(self.low)} and {show(self.high)} cannot be compared"
            elif self.low > self.high:
                yield (), f"low {show(self.low)} is above high {show(self.high)}"

    @property
    def states(self) -> tuple[str, ...]:
        """The states that are right."""
        return (self.state,) if isinstance(self.state, str) else self.state or ()

    @property
    def answers(self) -> tuple[str, ...]:
        """The answers that are right."""
        return (self.answer,) if isinstance(self.answer, str) else self.answer or ()

    @property
    def refers_to(self) -> str | None:
        """The step whose reading this one is compared with."""
        return self.near or self.share_of
