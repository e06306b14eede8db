"""Phrasings as mechanics say them are understood, and none as something else.

They were written down by somebody who had not seen the grammar (tests/phrasings.py).  Those that
are kept aside are left alone here.
"""

from __future__ import annotations

import pytest
from phrasings import table

#: Share of the bench's phrasings that is understood; the rest is refused.
UNDERSTOOD = 0.84


@pytest.fixture(scope="module", params=["bench", "partner"])
def results(request: pytest.FixtureRequest) -> tuple[str, list[tuple[str, str, object]]]:
    """Name of a file, and its open phrasings with how they are understood."""
    rows = table(request.param, final=False)
    return request.param, [(one.said, result, meaning) for one, result, meaning in rows]


def test_none_is_understood_wrongly(
    results: tuple[str, list[tuple[str, str, object]]],
) -> None:
    assert [row for row in results[1] if row[1] == "wrong"] == []


def test_most_are_understood(results: tuple[str, list[tuple[str, str, object]]]) -> None:
    name, rows = results
    understood = sum(result == "understood" for _, result, _ in rows)
    assert name != "bench" or understood >= UNDERSTOOD * len(rows), f"{understood} of {len(rows)}"
