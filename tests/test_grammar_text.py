from __future__ import annotations

import pytest

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
