"""What comes from a plan, a log or a file name commands no terminal and no spreadsheet."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from rich.table import Table
from test_log_chain import reading
from typer.testing import CliRunner

from handsfree.cli.app import app, main
from handsfree.cli.output import print_event, print_json
from handsfree.display.consoles import ShowingConsole
from handsfree.display.glance import Glance
from handsfree.display.terminal import TerminalScreen
from handsfree.errors import BadInput
from handsfree.events import Noted, told
from handsfree.log import open_job, to_csv
from handsfree.meaning import State
from handsfree.showable import cell, showable

#: Clears the screen, sets the title, rings, turns the direction, and the same with C1 controls.
EVIL = "\x1b[2J\x1b]0;owned\x07\u202egro\x9b2J\x7f[red]x[/red][/]"


def harmless(written: str) -> bool:
    return not any(sign in written for sign in ("\x1b", "\x07", "\u202e", "\x9b", "\x7f"))


def test_notes_and_tables_and_screens_do_not_reach_the_terminal(
    capsys: pytest.CaptureFixture[str],
) -> None:
    print_event(told(Noted(EVIL)))
    print_json({"text": EVIL})
    written = capsys.readouterr().out
    assert harmless(written)
    assert "[red]x[/red][/]" in written  # no markup either
    assert json.loads(written.splitlines()[-1]) == {"text": EVIL}


def test_a_console_draws_tables_without_what_is_in_them() -> None:
    console = ShowingConsole(file=io.StringIO(), force_terminal=True, color_system=None)
    table = Table(EVIL)
    table.add_row(EVIL)
    console.print(table)
    console.print(f"title: {EVIL}")
    assert harmless(console.file.getvalue())  # type: ignore[attr-defined]


def test_a_title_does_not_command_the_full_screen() -> None:
    file = io.StringIO()
    console = ShowingConsole(file=file, force_terminal=True, color_system=None, width=80, height=24)
    view = Glance(EVIL, prompt=EVIL, heard=EVIL, question=EVIL, options=(EVIL, EVIL), said=EVIL)
    shown = TerminalScreen(view, console)
    shown.show(Glance(EVIL, said=EVIL))
    shown.close()
    written = file.getvalue()
    assert "\x1b[2J" not in written
    assert all(sign not in written for sign in ("\x1b]0", "\x07", "\u202e", "\x9b", "\x7f"))


def test_an_error_does_not_command_the_terminal(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail() -> None:
        raise BadInput(EVIL, where=EVIL, remedy=EVIL)

    monkeypatch.setattr("handsfree.cli.app.app", fail)
    with pytest.raises(SystemExit):
        main()
    assert harmless(capsys.readouterr().err)


def test_a_file_name_is_no_markup_and_no_command(tmp_path: Path) -> None:
    with open_job(tmp_path / "job", b"title: x\n", title="x"):
        pass
    (tmp_path / "job" / "clips" / "[red]\x1b[2J\udcff.flac").write_bytes(b"")
    result = CliRunner().invoke(app, ["verify", str(tmp_path / "job")])
    assert result.exit_code == 0, result.exception
    assert harmless(result.output)


@pytest.mark.parametrize(
    ("value", "expected"),
    [("=1+1", "'=1+1"), ("@SUM(A1)", "'@SUM(A1)"), ("+1+1", "'+1+1"), ("-2+3+cmd|' /C x'!A0", None),
     ("\t=1", "'\t=1"), ("-", "'-"), ("-0.1 V to 0.1 V", "-0.1 V to 0.1 V"), ("-40 °C", "-40 °C"),
     ("black/yellow", "black/yellow"), (-2.5, -2.5), (None, None),
     ("a\x1bb", "a\ufffdb")],
)  # fmt: skip
def test_a_cell_is_no_formula(value: Any, expected: Any) -> None:
    """Signs that begin a formula: OWASP, CSV Injection."""
    found = cell(value)
    assert found == (f"'{value}" if expected is None and value else expected)


def test_the_table_of_a_log_holds_no_formula() -> None:
    wire = "=HYPERLINK(0)"
    shown = reading(3, 1, "s1", wire, State("ground"))
    (row,) = csv.DictReader(io.StringIO(to_csv([shown])))
    assert row["wire"] == f"'{wire}"


def test_what_people_write_is_shown_as_it_is() -> None:
    text = "Violet: 4.98 V, 120 Ω, −40 °C\n\tin range – “fine” 한국어"
    assert showable(text) == text
