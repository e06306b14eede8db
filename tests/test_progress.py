from __future__ import annotations

from pathlib import Path

import pytest

from handsfree.errors import BadInput
from handsfree.events import Guess, Guessed, Spoke
from handsfree.job.progress import load_progress, progress_file, save_progress

LESSONS = [
    Guessed(Guess("motor_winding", None, right=False)),
    Spoke("…"),
    Guessed(Guess("reference", None, right=True)),
    Guessed(Guess("motor_winding", None, right=True)),
]


def test_progress_is_kept_per_person(tmp_path: Path) -> None:
    ilya = load_progress("Ilya", tmp_path)
    ilya.add("Flap", LESSONS)
    save_progress(ilya, tmp_path)
    again = load_progress("Ilya", tmp_path)
    assert again.to_practise() == [("Flap: motor winding", 1, 2)]
    again.add("Flap", LESSONS)
    assert again.asked["Flap: reference"] == 2
    assert load_progress("Maren", tmp_path).asked == {}


@pytest.mark.parametrize("name", ["", "../x", "a/b", ".hidden"])
def test_names_that_are_no_file(name: str, tmp_path: Path) -> None:
    with pytest.raises(BadInput):
        progress_file(name, tmp_path)


def test_a_damaged_file_is_named(tmp_path: Path) -> None:
    (tmp_path / "Ilya.json").write_text("{", encoding="utf-8")
    with pytest.raises(BadInput, match="damaged"):
        load_progress("Ilya", tmp_path)
