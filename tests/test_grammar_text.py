from __future__ import annotations

import pytest

from handsfree.grammar.parsing import is_numeral
from handsfree.grammar.text import tokens


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Violet wire: 4.98 V.", ["Violet", "wire", "4.98", "V"]),
        ("twenty-three", ["twenty", "three"]),
        ("-40 °C", ["-40", "°C"]),
        ("−5V", ["-5", "V"]),
        ("1,200 V", ["1200", "V"]),
        ("12,6", ["12", "6"]),
        (".02 volts", [".02", "volts"]),
        ("35%", ["35", "%"]),
        ("4.7kΩ", ["4.7", "kΩ"]),
        ("4.7 k\u2126", ["4.7", "kΩ"]),
        ("O.L.", ["O", "L"]),
        ("3-5", ["3", "5"]),
        ("", []),
        ("?!", []),
    ],
)
def test_tokens(text: str, expected: list[str]) -> None:
    assert tokens(text) == expected


@pytest.mark.parametrize(
    ("word", "expected"),
    [("12.6", True), ("-0.02", True), (".5", True), ("999999999999", True), ("²", False),
     ("volts", False), ("1" * 13, False), ("0." + "1" * 29, False)],
)  # fmt: skip
def test_a_number_in_digits_is_one_that_a_meter_may_show(word: str, expected: bool) -> None:
    assert is_numeral(word) is expected
