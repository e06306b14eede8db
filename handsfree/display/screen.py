"""The view as the rows of a terminal: pure, so that it can be looked at in a test.

From the top: where we are; the wire as a block of its colours with its name; what to set and
what to expect; the last value; its verdict, or what the tool wants to know.
"""

from __future__ import annotations

import textwrap
from itertools import zip_longest

from rich.text import Text

from handsfree.display.big import big
from handsfree.display.glance import Badge, Glance, Value, WireLook

GROUND = "#f4f4f0 on #000000"
SOFT = "#b9bdb8"
ASKED = "bold #ffd54a"
EDGE = "#8b8f92"
#: Contrast with black is above 7:1 for all; a sign stands before the word as well.
MARKS: dict[Badge, tuple[str, str]] = {
    "pass": ("#7ee29a", "✓"),
    "fail": ("#ff8a80", "✕"),
    "marginal": ("#ffd54a", "≈"),
    "none": ("#f4f4f0", "–"),
    "void": ("#b9bdb8", "–"),
}
#: The verdict where no rule names a part.
NO_PART = "no part named"
#: Rows that hold one line of text.
_LINES = 5
#: Rows of the smallest big letters.
SMALLEST = 4
#: How the other rows are shared out: wires, value, verdict.
_SHARES = (8, 7, 4)


def screen(glance: Glance, width: int, height: int) -> Text:
    """The whole screen, `height` rows of `width` columns."""
    free = max(height - _LINES, sum(_SHARES))
    value_rows, verdict_rows = (free * share // sum(_SHARES) for share in _SHARES[1:])
    wire_rows = free - value_rows - verdict_rows
    rows = [
        _header(glance, width),
        *_fit(_now(glance, width, wire_rows), wire_rows),
        Text(_caption(glance, width), "bold"),
        _wanted(glance),
        Text(f" CAUTION  {glance.caution} ", "bold #000000 on #ffd54a")
        if glance.caution
        else Text(),
        _rule(glance, width),
        *_fit(_news(glance, width, value_rows, verdict_rows), value_rows + verdict_rows),
    ]
    for row in rows:
        row.truncate(width, pad=True)
    return Text("\n", GROUND, end="").join(rows[:height])


def _fit(rows: list[Text], count: int) -> list[Text]:
    return [*rows, *(Text() for _ in range(count - len(rows)))][:count]


def _header(glance: Glance, width: int) -> Text:
    left = f"step {glance.number} of {glance.count}" if glance.number else ""
    left = glance.finished or left or ("verdict" if glance.part is not None else "")
    left = f"{left}   {glance.title}" if left else glance.title
    if glance.sound == "lost":
        state, style = " NO MICROPHONE ", "bold #000000 on #ffd54a"
    elif glance.paused:
        state, style = " PAUSED ", "bold #000000 on #ffd54a"
    elif glance.level is not None:
        lit = round(glance.level * 20)
        state, style = f"{glance.turn} " + "█" * lit + "·" * (20 - lit), "#7ee29a"
    else:
        state, style = "", ""
    row = Text.assemble((left, "bold"))
    row.truncate(width - len(state) - 1, pad=True)
    return row.append(" ").append(state, style)


def _now(glance: Glance, width: int, height: int) -> list[Text]:
    """The wires to probe; where there are none, the prompt."""
    if not glance.wires:
        part = _wrap(_part(glance), width, ASKED) if not glance.step else []
        lines = textwrap.wrap(glance.prompt, width // 6)
        letters = [row for line in lines for row in big(line, width, SMALLEST)]
        if not part and 0 < len(letters) <= height:
            return [Text(row) for row in letters]
        return [Text(), *part, *_wrap(glance.prompt, width)]
    each = height // len(glance.wires)
    return [row for wire in glance.wires for row in _fit(_wire(wire, width, each), each)]


def _part(glance: Glance) -> str:
    return "" if glance.part is None else glance.part or NO_PART


def closing(glance: Glance) -> str:
    """How the job stands, in one line: what is left on a terminal when the screen is gone."""
    open_at = f"open at step {glance.number} of {glance.count}" if glance.number else "open"
    verdict = f", verdict: {_part(glance)}" if glance.part is not None else ""
    return f"{glance.title}: {glance.finished or open_at}{verdict}"


def _wire(wire: WireLook, width: int, height: int) -> list[Text]:
    block = max(14, width // 5)
    room = width - block - 2
    names = [wire.colour.upper()] + ([wire.stripe.upper()] if wire.stripe else [])
    each = height // len(names)
    letters = [row for name in names for row in _filled(big(name, room, each), each)]
    if len(names) * SMALLEST > height:  # not even the smallest goes in twice
        letters = big(names[0], room, height)
    rows = zip_longest(_swatch(wire, block, height), letters)
    return [swatch.append("  ").append(line or "") for swatch, line in rows if swatch]


def _filled(rows: list[str], count: int) -> list[str]:
    return [*rows, *[""] * (count - len(rows))]


def _swatch(wire: WireLook, width: int, height: int) -> list[Text]:
    """A block of the main colour, the stripe running along its middle, edged all around."""
    above = (height - max(height // 4, 1)) // 2
    rows = []
    for y in range(height):
        colour = wire.look[-1 if above <= y < height - above else 0]
        edge = "▀" if y == 0 else "▄" if y == height - 1 else " "
        inner = (edge * (width - 2), f"{EDGE} on {colour}")
        rows.append(Text.assemble(("█", EDGE), inner, ("█", EDGE)))
    return rows


def _caption(glance: Glance, width: int) -> str:
    if len(glance.wires) == 2:
        red, black = glance.wires
        full = f"red lead {red.name}, pin {red.pin}   black lead {black.name}, pin {black.pin}"
        return full if len(full) <= width else f"red lead {red.name}   black lead {black.name}"
    return "".join(f"{w.name}, pin {w.pin}, {w.function}" for w in glance.wires)


def _wanted(glance: Glance) -> Text:
    row = Text()
    for name, what in (("set", glance.condition), ("expect", glance.expected)):
        if what:
            row.append(f"{name} ", SOFT).append(f"{what}   ", "bold")
    return row


def _rule(glance: Glance, width: int) -> Text:
    value = glance.value
    whose = " to ".join(w.name for w in value.wires) or value.step if value else ""
    left = f"── last {whose} " if value else "── no value yet "
    left = "── asked " if glance.options else left  # what stands below is no value that was taken
    heard = f" heard “{glance.heard}” " if glance.heard else ""
    if not glance.understood:
        heard = f" not understood “{glance.heard}” "
    room = width - len(left) - 2
    heard = heard if len(heard) <= room else heard[: max(room - 2, 0)] + "… "
    return Text(left + "─" * (width - len(left) - len(heard) - 2) + heard + "──", SOFT)


def _news(glance: Glance, width: int, value_rows: int, verdict_rows: int) -> list[Text]:
    """The last value with its verdict; what the tool asks or tells takes the verdict's place."""
    if glance.options:
        asked = _wrap(f"? {glance.question}", width, ASKED)[:2]
        each = (value_rows + verdict_rows - len(asked)) // len(glance.options)
        letters = [big(option, width, each) or [option] for option in glance.options]
        return [*asked, *(Text(row, ASKED) for option in letters for row in option)]
    value = _value(glance.value, width, value_rows) if glance.value else []
    value = _fit(value, max(value_rows, len(value)))
    verdict_rows -= max(len(value) - value_rows, 0)
    if glance.question:
        return [*value, *_wrap(f"? {glance.question}", width, ASKED)]
    if glance.said:
        return [*value, *_wrap(glance.said, width)]
    return [*value, *_verdict(glance.value, width, verdict_rows)] if glance.value else []


def _value(value: Value, width: int, height: int) -> list[Text]:
    style = MARKS[value.mark][0]
    shown = f"{value.shown} {value.unit}" if value.unit else value.shown.upper()
    lines = [shown] if big(shown, width, height) else shown.split()
    each = height // len(lines) if len(lines) == 1 else SMALLEST
    letters = [row for line in lines for row in big(line, width, each)]
    return [Text(row, style) for row in letters] or [Text(shown, f"bold {style}")]


def _verdict(value: Value, width: int, height: int) -> list[Text]:
    style, sign = MARKS[value.mark]
    beside = f"  {sign} {value.distance}"
    letters = big(value.verdict.upper(), width - len(beside), height)
    if not letters:
        words = f" {sign} {value.verdict.upper()} {value.distance} "
        return [Text(), Text(words, f"bold #000000 on {style}")]
    rows = [Text(row, style) for row in letters]
    rows[len(rows) // 2].append(beside, "bold")
    return rows


def _wrap(text: str, width: int, style: str = "bold") -> list[Text]:
    return [Text(line, style) for line in textwrap.wrap(text, width)]
