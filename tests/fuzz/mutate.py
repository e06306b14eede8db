"""What is done to bytes and text to make them wrong."""

from __future__ import annotations

import random
from collections.abc import Sequence

NASTY_BYTES = [
    b"\0", b"\xff\xff\xff\xff", b"\x00\x00\x00\x00", b"\xff\xff\xff\x7f", b"\x00\x00\x00\x80",
    b"\x01\x00\x00\x00", b"\xff\xff", b"\x00\x00", b"\xc0\x80", b"\xed\xa0\x80", b"\n", b"\r\n",
    b"\xef\xbb\xbf", b"{", b"[" * 50, b'"', b"\\u0000", b"\\ud800", b"1e999", b"9" * 400, b"-0",
]  # fmt: skip

NASTY_TEXT = [
    "", " ", "\t", "\0", "\x1b[31m", "\u2028", "\ufeff", "\u202e", "\U0001f50c", "é", "Ω", "٣", "²",
    "½", "-", "0", "-1", "1e999", "1e-999", "9" * 40, "NaN", ".inf", "null", "~", "true", "no",
    "[]",
    "{}", "[" * 60, "(" * 300, ")" * 9, "{a: b}", "[a, b]", "&a ", "*a", "!!python/none x",
    "!!int x", "? ",
    ": ", "- ", "#", "|", ">", "'", '"', "\\", "\\u0000", "12 V", "4 9**9**9 V", "1e308 V", "-5 kΩ",
    "120 Ω ± 900 %", "5 V ± 2 %", "300 °C", "x" * 3000, "<VOID>", "<NULL>", "<a.b>", "/1e/", "/-1/",
    "/1e999/", "/0/", "/.../", "//", "/*", "*", "+", "*+", ";", "=", "public", "import <x.*>;",
    "../..",
    "/dev/zero", "=1+1", ",", ",,", "1_0", "１２", "1,5", "%",
]  # fmt: skip


def changed_bytes(data: bytes, rng: random.Random, most: int = 6) -> bytes:
    """Bytes flipped, put in, cut out, doubled or cut off."""
    made = bytearray(data)
    for _ in range(rng.randint(1, most)):
        at = rng.randrange(len(made) + 1)
        size = rng.choice((1, 2, 4, 30))
        match rng.randrange(6):
            case 0 if made:
                made[at % len(made)] = rng.randrange(256)
            case 1:
                made[at:at] = rng.choice(NASTY_BYTES)
            case 2:
                del made[at : at + size]
            case 3:
                made[at:at] = made[at : at + size * 3]
            case 4:
                nasty = rng.choice(NASTY_BYTES)
                made[at : at + len(nasty)] = nasty
            case 5 if rng.random() < 0.2:
                del made[at:]
    return bytes(made)


def changed_text(text: str, rng: random.Random, others: Sequence[str] = (), most: int = 4) -> str:
    """Text with lines and spans cut, doubled, swapped, and with what is nasty put in.

    Args:
        text: to change.
        rng: chance.
        others: words that belong elsewhere in such a text.
        most: changes, at most.
    """
    for _ in range(rng.randint(1, most)):
        lines = text.split("\n")
        line, at = rng.randrange(len(lines)), rng.randrange(len(text) + 1)
        nasty = rng.choice(others) if others and rng.random() < 0.4 else rng.choice(NASTY_TEXT)
        match rng.randrange(8):
            case 0:
                del lines[line]
                text = "\n".join(lines)
            case 1:
                lines.insert(rng.randrange(len(lines)), lines[line])
                text = "\n".join(lines)
            case 2:
                text = text[:at] + nasty + text[at:]
            case 3:
                text = text[:at] + text[at + rng.choice((1, 2, 5, 40)) :]
            case 4:
                words = lines[line].split(" ")
                words[rng.randrange(len(words))] = nasty
                lines[line] = " ".join(words)
                text = "\n".join(lines)
            case 5:
                name, colon, _ = lines[line].partition(": ")
                lines[line] = f"{name}{colon}{nasty}"
                text = "\n".join(lines)
            case 6:
                lines[line] = " " * rng.randrange(9) + lines[line].lstrip()
                text = "\n".join(lines)
            case 7:
                end = min(at + rng.randrange(80), len(text))
                text = text[:end] + text[at:end] + text[end:]
    return text
