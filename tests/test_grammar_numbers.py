"""Spoken numbers, checked against num2words (PyPI), which spells them independently."""

from __future__ import annotations

import random
from decimal import Decimal

import pytest
from num2words import num2words

from handsfree.grammar import Automaton, Language, Number, number_of, parse_text


@pytest.fixture(scope="module")
def numbers(english: Language) -> Automaton:
    return english.automaton("number")


def plain(numbers: Automaton, text: str) -> set[Decimal]:
    """The values of `text` as spoken in full."""
    found = {number_of(tags) for tags in parse_text(numbers, text)}
    return {n.value for n in found if n.form == "plain"}


def digits(number: Decimal | int) -> str:
    names = {".": "point", "-": "minus"}
    return " ".join(names.get(c) or num2words(int(c)) for c in str(number))


def test_every_integer_below_hundred_thousand_in_words(numbers: Automaton) -> None:
    wrong = [n for n in range(100_000) if plain(numbers, num2words(n)) != {Decimal(n)}]
    assert wrong == []


def test_every_integer_below_hundred_thousand_digit_by_digit(numbers: Automaton) -> None:
    wrong = [n for n in range(100_000) if plain(numbers, digits(n)) != {Decimal(n)}]
    assert wrong == []


def test_ten_thousand_decimals_in_both_forms(numbers: Automaton) -> None:
    rng = random.Random(20261125)
    wrong = []
    for _ in range(10_000):
        places = rng.randint(1, 3)
        number = Decimal(rng.randint(0, 99_999 * 10**places)).scaleb(-places)
        for text in (num2words(number), digits(number)):
            if plain(numbers, text) != {number}:
                wrong.append(text)
    assert wrong == []


@pytest.mark.parametrize(
    ("text", "values"),
    [  # the trade's short forms; common practice, no published source
        ("twelve six", {"12.6"}),
        ("twelve and a half", {"12.5"}),
        ("point oh two", {"0.02"}),
        ("minus point five", {"-0.5"}),
        ("a hundred and twenty", {"120"}),
        ("sixty point two", {"60.2"}),
        ("two fifty", {"250", "2.50"}),
        ("four ninety eight", {"498", "4.98"}),
        ("fourteen oh two", {"14.02"}),
        ("twelve hundred", {"1200"}),
        ("zero", {"0"}),
        ("half a", {"0.5"}),
    ],
)
def test_short_forms(numbers: Automaton, text: str, values: set[str]) -> None:
    found = {number_of(tags).value for tags in parse_text(numbers, text)}
    assert found == {Decimal(v) for v in values}


@pytest.mark.parametrize("text", ["twenty teen", "point", "six hundred hundred", "and", "oh five"])
def test_no_number(numbers: Automaton, text: str) -> None:
    assert parse_text(numbers, text) == []


def test_decimal_places_are_kept(numbers: Automaton) -> None:
    (tags,) = parse_text(numbers, "four point nine eight zero")
    assert number_of(tags) == Number(Decimal("4.980"))
    assert str(number_of(tags).value) == "4.980"


def test_no_tags_are_no_number() -> None:
    with pytest.raises(ValueError, match="no number"):
        number_of(["unit V"])
