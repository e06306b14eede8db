"""How a computed expectation is printed: a row of the table, or plain data."""

from __future__ import annotations

from math import floor, isinf, log10
from typing import Any

from handsfree.check import written
from handsfree.check.agreement import Agreement
from handsfree.circuit import ExpectedWord
from handsfree.units import Quantity


def figures(agreement: Agreement) -> tuple[str, str, str, str]:
    """Nominal, likely interval, worst case and the meter's error, to the meter's digits."""
    found, unit = agreement.computed, agreement.step.measure.base_unit
    if isinstance(found, ExpectedWord):
        likely = ", ".join(f"{word} {s:.0%}" for word, s in found.shares.items() if s)
        return found.nominal or "none of the words", likely, "", ""
    error = float(found.error.m_as(unit))
    digits = max(0, -floor(log10(error))) if error > 0 else 0

    def shown(*values: Quantity) -> str:
        numbers = [float(value.m_as(unit)) for value in values]
        texts = ["OL" if isinf(n) else f"{round(n, digits) + 0.0:.{digits}f}" for n in numbers]
        text = " … ".join(dict.fromkeys(texts))
        return text if text == "OL" else f"{text} {unit}"

    return (
        shown(found.nominal),
        shown(*found.likely),
        shown(*found.worst),
        f"± {error:.2g} {unit}" if error else "",
    )


def plain_agreement(agreement: Agreement) -> dict[str, Any]:
    """For JSON: numbers in the unit of the step; None for over limit."""
    step, found = agreement.step, agreement.computed
    plain: dict[str, Any] = {"step": step.id, "condition": step.condition}
    if isinstance(found, ExpectedWord):
        plain |= {"word": found.nominal, "shares": found.shares}
    else:
        unit = step.measure.base_unit

        def number(value: Quantity) -> float | None:
            magnitude = float(value.m_as(unit))
            return None if isinf(magnitude) else float(f"{magnitude:.6g}")

        plain |= {
            "unit": unit,
            "nominal": number(found.nominal),
            "likely": [number(end) for end in found.likely],
            "worst": [number(end) for end in found.worst],
            "meter_error": number(found.error),
        }
    return plain | {
        "written": written(agreement.wanted),
        "agrees": agreement.agrees,
        "objection": agreement.objection,
    }
