"""The terminal: what an independent terminal emulator (pyte) shows of what is written to it."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import time
from pathlib import Path

import pytest
from display_session import SAID, view, view_after, write_job
from hypothesis import given
from hypothesis import strategies as st
from rich.console import Console

from handsfree.display import Glance
from handsfree.display.big import big, dots
from handsfree.display.screen import MARKS, closing, screen
from handsfree.display.terminal import TerminalScreen

pyte = pytest.importorskip("pyte", reason="pyte is not installed")

SIZES = [(80, 24), (100, 30), (160, 48), (211, 60)]


class Emulator:
    """A terminal of a size, on which views are drawn."""

    def __init__(self, width: int, height: int) -> None:
        self.written = io.StringIO()
        self.console = Console(
            file=self.written,
            width=width,
            height=height,
            force_terminal=True,
            color_system="truecolor",
            legacy_windows=False,
            _environ={},
        )
        self.screen = pyte.Screen(width, height)
        self.stream = pyte.Stream(self.screen)

    def draw(self, glance: Glance) -> str:
        """The text that is on the screen."""
        self.console.print(screen(glance, self.screen.columns, self.screen.lines), end="")
        return self.refresh()

    def refresh(self) -> str:
        self.stream.feed(self.written.getvalue().replace("\n", "\r\n"))
        return "\n".join(self.screen.display)


def luminance(colour: str) -> float:
    """Relative luminance of "#rrggbb" or "rrggbb" (WCAG 2.2, definition of the term)."""
    parts = [int(colour.lstrip("#")[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.2, definition of the term): 21 for black on white."""
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_every_view_fills_the_screen_exactly(size: tuple[int, int]) -> None:
    width, height = size
    for count in range(len(SAID) + 1):
        rows = screen(view(count), width, height).plain.split("\n")
        assert len(rows) == height
        assert {len(row) for row in rows} == {width}


@pytest.mark.parametrize("size", SIZES, ids=str)
def test_what_is_to_be_done_and_what_came_of_it_are_in_words(size: tuple[int, int]) -> None:
    shown = Emulator(*size).draw(view_after("point six"))
    assert "step 6 of 18" in shown
    assert "blue with red stripe, pin 1, hot drive" in shown
    assert "set heating up   expect battery voltage" in shown
    assert "CAUTION  The flap moves now." in shown
    assert "last white with green stripe" in shown
    assert "heard “point six”" in shown
    assert "✕ by 3.4 V" in shown
    assert "██" in shown  # the value


def test_the_colours_of_the_wire_are_blocks_on_the_screen() -> None:
    emulator = Emulator(80, 24)
    emulator.draw(view_after("point six"))
    look = view_after("point six").wires[0].look
    colours = {cell.bg for row in emulator.screen.buffer.values() for cell in row.values()}
    assert {colour.lstrip("#") for colour in look} <= colours


def test_a_question_shows_its_options_large_and_a_refusal_its_words() -> None:
    asked = Emulator(80, 24).draw(view_after("four nine"))
    assert "? Is it forty nine kilohms, or four point nine kilohms?" in asked
    assert "\n".join(row.rstrip() for row in big("4.9 kΩ", 80, 5)) in "\n".join(
        row.rstrip() for row in asked.split("\n")
    )
    assert "I need ohms" in Emulator(80, 24).draw(view_after("four volts"))


def test_the_end_says_the_verdict_and_that_it_is_verified() -> None:
    shown = Emulator(80, 24).draw(view(len(SAID)))
    assert shown.startswith("verified")
    assert "not sure" in shown  # a drive wire was dead as well, so no part is convicted


def test_every_letter_has_a_contrast_of_seven_to_one() -> None:
    for colour, _ in MARKS.values():
        assert contrast(colour, "#000000") >= 7
    emulator = Emulator(80, 24)
    for said in ("point six", "four nine", "four volts"):
        emulator.draw(view_after(said))
        for row in emulator.screen.buffer.values():
            for cell in row.values():
                if cell.data.isalnum():
                    assert contrast(cell.fg, cell.bg) >= 7, cell


@given(st.text("0123456789.−kMmΩVAHz% ", min_size=1), st.integers(1, 250), st.integers(1, 70))
def test_big_letters_stay_in_their_room(text: str, width: int, height: int) -> None:
    rows = big(text, width, height)
    assert len(rows) <= height
    assert all(len(row) <= width for row in rows)


def test_big_letters_grow_with_the_room() -> None:
    assert [len(big("0.6 V", 80, height)) for height in (3, 4, 7, 14)] == [0, 4, 7, 11]
    assert len(dots("1")) == 3


def test_drawing_anew_never_clears_the_screen() -> None:
    """No flicker: the alternate screen is entered once, and rows are written over each other."""
    emulator = Emulator(80, 24)
    shown = TerminalScreen(view(0), emulator.console)
    for count in range(1, 8):
        time.sleep(0.12)
        shown.show(view(count))
    time.sleep(0.3)
    shown.close()
    written = emulator.written.getvalue()
    assert written.count("\x1b[?1049h") == written.count("\x1b[?1049l") == 1
    assert written.count("\x1b[2J") == 0
    before_the_end, after_it = written.split("\x1b[?1049l")
    emulator.stream.feed(before_the_end.replace("\n", "\r\n"))
    assert emulator.screen.display[0].startswith("step 6 of 18")
    assert "Flap actuator, five wires: open at step 6 of 18" in after_it


def test_what_is_left_when_the_screen_is_gone() -> None:
    line = closing(view(len(SAID)))
    assert "five wires: verified, verdict: not sure" in line


def test_what_is_asked_does_not_stand_under_the_last_wire() -> None:
    seen = view_after("four nine")
    assert seen.options == ("49 kΩ", "4.9 kΩ")
    shown = Emulator(100, 30).draw(seen)
    assert "── asked ─" in shown
    assert "── last" not in shown
    assert "── last" in Emulator(100, 30).draw(view_after("the second"))


def test_a_finished_job_is_no_empty_page() -> None:
    end = view(len(SAID))
    shown = Emulator(100, 30).draw(end)
    assert "not sure" in shown
    assert "The job is verified." in shown


# The command --------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("glance") / "job"
    write_job(folder, SAID)
    return folder


def glance_command(*args: object) -> list[str]:
    return [sys.executable, "-m", "handsfree", "glance", *map(str, args)]


def test_without_a_terminal_it_is_line_by_line_to_the_end(job: Path) -> None:
    done = subprocess.run(
        glance_command(job), capture_output=True, text=True, timeout=120, check=True
    )
    assert "#2 black/yellow" in done.stdout
    assert done.stdout.rstrip().endswith("verified")


@pytest.fixture
def written_later(job: Path, tmp_path: Path) -> Path:
    lines = (job / "events.jsonl").read_bytes().splitlines(keepends=True)
    folder = tmp_path / "job"
    folder.mkdir()
    (folder / "plan.yaml").write_bytes((job / "plan.yaml").read_bytes())
    (folder / "events.jsonl").write_bytes(b"".join(lines[:3]) + lines[3][:20])
    (folder / "rest").write_bytes(lines[3][20:] + b"".join(lines[4:]))
    return folder


def test_it_follows_a_job_that_is_being_written(written_later: Path) -> None:
    with subprocess.Popen(
        glance_command(written_later), stdout=subprocess.PIPE, text=True, bufsize=1
    ) as command:
        assert command.stdout
        first = command.stdout.readline()
        assert first
        with (written_later / "events.jsonl").open("ab") as log:
            log.write((written_later / "rest").read_bytes())
        rest = command.stdout.read()
        assert command.wait(timeout=60) == 0
    assert rest.rstrip().endswith("verified")
    events = [json.loads(x) for x in (written_later / "events.jsonl").read_text().splitlines()]
    readings = sum(event["event"] == "reading" for event in events)
    assert (first + rest).count("\nlog   #") == readings
