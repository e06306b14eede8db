"""The shop's seal: what somebody may do to a sealed job, and what is found of it."""

from __future__ import annotations

import html
import io
import os
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import keyring
import pytest
from keyring.backend import KeyringBackend
from test_log_attacks import a_job, rechained, told
from typer.testing import CliRunner

from handsfree.cli.app import app
from handsfree.cli.seal import PASSPHRASE
from handsfree.errors import BadInput, Damaged, HandsfreeError, Missing
from handsfree.log import open_job, read, verify
from handsfree.log.folder import finish_mark
from handsfree.report import report_file
from handsfree.seal import (
    Seal,
    ShopKey,
    Trusted,
    file_status,
    load_public,
    make_key,
    seal_file,
    seal_job,
    seal_status,
    unlock,
)
from handsfree.seal.keys import vouch
from handsfree.seal.ledger import Ledger
from handsfree.seal.ring import keep_passphrase
from handsfree.seal.statement import LIMITS

PHRASE = "copper kettle seven lanes"


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The shop's machine."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def key(home: Path) -> ShopKey:
    return make_key("Harbour Road Electrics", PHRASE)


@pytest.fixture
def elsewhere(key: ShopKey, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Another machine, which has nothing but the shop's public key."""
    file = tmp_path / "given.pub"
    shutil.copy(key.folder / "shop.pub", file)
    return file


def away(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """From here on, this is another machine."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "other machine"))


# --- the key ------------------------------------------------------------------------------------


def test_a_key_is_its_owners_alone_and_opens_with_its_passphrase(key: ShopKey) -> None:
    assert (key.folder / "shop.key").stat().st_mode & 0o077 == 0
    assert unlock(PHRASE).public == key.public
    with pytest.raises(BadInput, match="not the passphrase"):
        unlock("copper kettle eight lanes")
    with pytest.raises(BadInput, match="a key already"):
        make_key("Another", PHRASE)


def test_openssl_reads_both_halves(key: ShopKey) -> None:
    """`openssl pkey` (OpenSSL 3) is the reference for PKCS #8 and SubjectPublicKeyInfo."""
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed")
    asked = ["openssl", "pkey", "-in", str(key.folder / "shop.key"), "-passin", f"pass:{PHRASE}"]
    public = subprocess.run([*asked, "-pubout"], capture_output=True, check=True).stdout
    assert public == (key.folder / "shop.pub").read_bytes()
    text = subprocess.run(
        ["openssl", "pkey", "-pubin", "-in", str(key.folder / "shop.pub"), "-noout", "-text"],
        capture_output=True,
        check=True,
        text=True,
    ).stdout
    assert "ED25519" in text.upper()
    assert key.public in "".join(text.split()).replace(":", "")


def test_openssl_finds_the_signature_right(key: ShopKey, tmp_path: Path) -> None:
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed")
    seal = seal_job(a_job(tmp_path / "job", 4.98), key)
    (tmp_path / "statement").write_bytes(seal.statement.to_sign())
    (tmp_path / "signature").write_bytes(bytes.fromhex(seal.signature))
    asked = ["openssl", "pkeyutl", "-verify", "-pubin", "-inkey", str(key.folder / "shop.pub")]
    asked += ["-rawin", "-in", str(tmp_path / "statement"), "-sigfile", str(tmp_path / "signature")]
    assert subprocess.run(asked, capture_output=True, check=False).returncode == 0


@pytest.mark.parametrize("shop", ["", "   ", "x" * 121, "A\x1b[31mB"])
def test_a_name_that_could_not_be_shown_is_refused(home: Path, shop: str) -> None:
    with pytest.raises(BadInput, match="name"):
        make_key(shop, PHRASE)


def test_a_short_passphrase_is_refused(home: Path) -> None:
    with pytest.raises(BadInput, match="too short"):
        make_key("Shop", "fourteen chars")


def test_neither_key_nor_passphrase_is_in_a_job(key: ShopKey, tmp_path: Path) -> None:
    job = a_job(tmp_path / "job", 4.98)
    seal_job(job, key)
    everything = b"".join(path.read_bytes() for path in job.rglob("*") if path.is_file())
    assert PHRASE.encode() not in everything
    assert b"PRIVATE" not in everything


# --- who and when -------------------------------------------------------------------------------


def test_it_says_who_and_when_and_how_the_key_is_known(
    key: ShopKey, elsewhere: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = a_job(tmp_path / "job", 4.98)
    assert seal_status(job).state == "not sealed"
    seal = seal_job(job, key)
    assert (seal.statement.events, seal.statement.clips) == (len(read(job)), 1)
    assert seal.statement.state == "finished"
    here = seal_status(job)
    assert here.state == "sealed"
    assert "Harbour Road Electrics" in here.sentence
    assert seal.statement.time in here.sentence
    assert "of this machine" in here.sentence
    away(monkeypatch, tmp_path)
    assert "not known here" in seal_status(job).sentence
    given = seal_status(job, Trusted.here([elsewhere]))
    assert (given.state, given.last and given.last.trust) == ("sealed", "given")
    vouch(elsewhere)
    assert "that is known here" in seal_status(job).sentence


def test_a_job_that_goes_on_is_sealed_up_to_where_it_was(key: ShopKey, tmp_path: Path) -> None:
    job = a_job(tmp_path / "job", 4.98, finished=False)
    seal_job(job, key)
    with open_job(job, b"title: Lamp circuit voltage drop\n", title="Lamp circuit voltage drop"):
        pass
    status = seal_status(job)
    assert status.state == "sealed"
    assert status.remarks == ("1 event came after it, not sealed: resumed",)
    seal_job(job, key)
    assert seal_status(job).remarks == ()


def test_a_damaged_job_is_not_sealed(key: ShopKey, tmp_path: Path) -> None:
    job = a_job(tmp_path / "job", 4.98)
    (job / "clips" / "00002.flac").unlink()
    with pytest.raises(Damaged, match="not sealed"):
        seal_job(job, key)


# --- what somebody may do to it: each is found, or it is said here that it is not ---


def test_every_byte_that_is_changed_is_found(
    key: ShopKey, elsewhere: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every byte of every file of a small job, with only the public key at hand."""
    job = a_job(tmp_path / "job", 4.98)
    seal_job(job, key)
    away(monkeypatch, tmp_path)
    trusted = Trusted.here([elsewhere])
    assert seal_status(job, trusted).state == "sealed"
    files = [path for path in sorted(job.rglob("*")) if path.is_file()]
    assert {path.name for path in files} >= {"events.jsonl", "plan.yaml", "seals.jsonl"}
    changed = 0
    for file in files:
        whole = bytearray(file.read_bytes())
        for place in range(len(whole)):
            before, whole[place] = whole[place], whole[place] ^ (1 << place % 8)
            file.write_bytes(whole)
            assert seal_status(job, trusted).state == "changed", (file.name, place)
            whole[place] = before
            changed += 1
        file.write_bytes(whole)
    assert changed > 1900
    assert seal_status(job, trusted).state == "sealed"


def made_anew(job: Path, value: float) -> None:
    """The whole chain once more, with right hashes and another value."""
    events = [
        (kind, {**fields, **({"value": value} if "value" in fields else {})})
        for kind, fields in told(job)
    ]
    (job / "events.jsonl").write_bytes(rechained(events, [line.time for line in read(job)]))
    (job / "finished.json").write_bytes(finish_mark(read(job)[-1]))


def test_a_chain_that_was_made_anew_with_right_hashes_is_found(
    key: ShopKey, elsewhere: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = a_job(tmp_path / "job", 4.98, 0.02)
    seal_job(job, key)
    made_anew(job, 4.5)
    assert verify(job).ok  # the chain alone does not show it
    assert "not as it was sealed" in seal_status(job).sentence
    (job / "seals.jsonl").unlink()
    by_list = seal_status(job)  # the list of the shop's machine does
    assert by_list.state == "changed"
    assert "list of seals on this machine" in by_list.sentence
    away(monkeypatch, tmp_path)
    with pytest.raises(Damaged, match="not sealed"):  # whoever has the key expects its seal
        cli_verify(job, elsewhere)
    assert seal_status(job).state == "not sealed"  # without the key: out of reach


def test_a_chain_that_was_made_anew_and_sealed_by_somebody_else_is_found_with_the_key(
    key: ShopKey, elsewhere: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = a_job(tmp_path / "job", 4.98, 0.02)
    seal_job(job, key)
    away(monkeypatch, tmp_path)
    made_anew(job, 4.5)
    (job / "seals.jsonl").unlink()
    seal_job(job, make_key("Harbour Road Electrics", PHRASE, tmp_path / "forger"))
    first_sight = seal_status(job, Trusted())
    assert first_sight.state == "sealed"  # out of reach, and said so
    assert "not known here" in first_sight.sentence
    assert "other keys" in seal_status(job, Trusted.here([elsewhere])).sentence


def test_clips_of_equal_length_that_were_swapped_are_found(key: ShopKey, tmp_path: Path) -> None:
    job = a_job(tmp_path / "job", 4.98, 0.02)
    seal_job(job, key)
    one, other = sorted((job / "clips").iterdir())[:2]
    sounds = one.read_bytes(), other.read_bytes()
    assert len(sounds[0]) == len(sounds[1])
    one.write_bytes(sounds[1])
    other.write_bytes(sounds[0])
    assert "was changed" in seal_status(job).sentence


def test_an_older_copy_is_found_where_it_was_sealed_and_nowhere_else(
    key: ShopKey, elsewhere: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    job = a_job(tmp_path / "job", 4.98, finished=False)
    seal_job(job, key)
    shutil.copytree(job, tmp_path / "copy")
    with open_job(
        job, b"title: Lamp circuit voltage drop\n", title="Lamp circuit voltage drop"
    ) as log:
        log.append("note", text="afternoon")
    later = seal_job(job, key)
    shutil.rmtree(job)
    shutil.copytree(tmp_path / "copy", job)
    assert "older copy" in seal_status(job).sentence
    (job / "seals.jsonl").write_bytes((job / "seals.jsonl").read_bytes() + later.encode())
    away(monkeypatch, tmp_path)
    assert "older copy" in seal_status(job).sentence  # a later seal that was kept shows it, too
    shutil.copy(tmp_path / "copy" / "seals.jsonl", job)
    assert seal_status(job, Trusted.here([elsewhere])).state == "sealed"  # out of reach
    assert "An older copy" in LIMITS


def test_events_that_were_cut_off_an_open_job_are_found(key: ShopKey, tmp_path: Path) -> None:
    """Which the chain alone cannot show, where no clip is left over."""
    job = a_job(tmp_path / "job", 4.98, finished=False)
    with open_job(
        job, b"title: Lamp circuit voltage drop\n", title="Lamp circuit voltage drop"
    ) as log:
        log.append("note", text="afternoon")
    seal_job(job, key)
    lines = (job / "events.jsonl").read_bytes().splitlines(keepends=True)
    (job / "events.jsonl").write_bytes(b"".join(lines[:-1]))
    assert verify(job).ok
    assert "it was cut" in seal_status(job).sentence


def test_what_was_added_after_the_sealed_end_is_found(key: ShopKey, tmp_path: Path) -> None:
    job = a_job(tmp_path / "job", 4.98)
    seal_job(job, key)
    lines = [*told(job), ("note", {"text": "and it worked"})]
    times = [line.time for line in read(job)]
    (job / "events.jsonl").write_bytes(rechained(lines, [*times, times[-1]]))
    assert "after the end" in seal_status(job).sentence


def test_the_seal_of_another_job_is_found(key: ShopKey, tmp_path: Path) -> None:
    job, other = a_job(tmp_path / "job", 4.98), a_job(tmp_path / "other", 4.98)
    seal_job(other, key)
    shutil.copy(other / "seals.jsonl", job)
    assert "of another job" in seal_status(job).sentence


def test_the_report_of_another_job_is_found(key: ShopKey, tmp_path: Path) -> None:
    job, other = a_job(tmp_path / "job", 4.98), a_job(tmp_path / "other", 4.98)
    page = tmp_path / "report.html"
    page.write_text("<p>4.98 V</p>")
    assert file_status(page).state == "not sealed"
    seal_file(page, other, key)
    assert file_status(page, other).state == "sealed"
    assert "of another job" in file_status(page, job).sentence
    page.write_text("<p>4.99 V</p>")
    assert "not the one that was sealed" in file_status(page).sentence


def test_every_byte_of_a_sealed_file_and_of_its_seal_counts(key: ShopKey, tmp_path: Path) -> None:
    job, page = a_job(tmp_path / "job", 4.98), tmp_path / "report.html"
    page.write_text("<p>4.98 V</p>")
    seal_file(page, job, key)
    for file in (page, tmp_path / "report.html.seal"):
        whole = bytearray(file.read_bytes())
        for place in range(len(whole)):
            before, whole[place] = whole[place], whole[place] ^ 1
            file.write_bytes(whole)
            assert file_status(page, job).state == "changed", (file.name, place)
            whole[place] = before
        file.write_bytes(whole)


def test_a_job_seal_is_no_seal_of_a_file(key: ShopKey, tmp_path: Path) -> None:
    job, page = a_job(tmp_path / "job", 4.98), tmp_path / "report.html"
    page.write_text("")
    (tmp_path / "report.html.seal").write_bytes(seal_job(job, key).encode())
    assert "not of a file" in file_status(page).sentence


def test_a_seal_has_one_form_only(key: ShopKey, tmp_path: Path) -> None:
    line = seal_job(a_job(tmp_path / "job", 4.98), key).encode()
    assert Seal.decode(line).encode() == line
    for other in (line.replace(b'":', b'": ', 1), line[:-1], line + b"\n", line.upper(), b"{}\n"):
        with pytest.raises(ValueError):  # noqa: PT011 - of several kinds
            Seal.decode(other)


def test_a_link_in_place_of_the_seals_is_not_followed(key: ShopKey, tmp_path: Path) -> None:
    job, target = a_job(tmp_path / "job", 4.98), tmp_path / "mine"
    target.write_text("mine")
    (job / "seals.jsonl").symlink_to(target)
    with pytest.raises(HandsfreeError):
        seal_job(job, key)
    assert target.read_text() == "mine"
    assert seal_status(job).state == "changed"


# --- the list on the shop's machine ---


def test_the_list_numbers_what_was_sealed_and_tells_when_it_was_changed(
    key: ShopKey, tmp_path: Path
) -> None:
    jobs = [a_job(tmp_path / str(number), number) for number in range(3)]
    assert [seal_job(job, key).statement.number for job in jobs] == [1, 2, 3]
    ledger = Ledger(key.folder)
    lines = ledger.file.read_bytes().splitlines(keepends=True)
    ledger.file.write_bytes(lines[0] + lines[2])
    with pytest.raises(Damaged, match="seal 3 stands where seal 2 is due"):
        ledger.read()
    assert "cannot be used" in seal_status(jobs[0]).remarks[0]
    ledger.file.write_bytes(b"".join(lines).replace(b"Harbour", b"Harbor "))
    with pytest.raises(Damaged, match="was changed"):
        ledger.read()


# --- the commands ---------------------------------------------------------------------------------


def cli_verify(job: Path, key: Path) -> str:
    result = CliRunner().invoke(app, ["verify", str(job), "--key", str(key)])
    if isinstance(result.exception, HandsfreeError):
        raise result.exception
    return result.output


def test_the_commands_make_seal_list_and_give_away(
    home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(PASSPHRASE, PHRASE)
    run = CliRunner().invoke
    job = a_job(home / "job", 4.98)
    assert isinstance(run(app, ["seal", "sign", str(job)]).exception, Missing)
    assert "Harbour Road" in run(app, ["seal", "init", "--shop", "Harbour Road"]).output
    assert "number 1" in run(app, ["seal", "sign", str(job)]).output
    (job / "report.html").write_text("page")
    assert "number 2" in run(app, ["seal", "sign", str(job / "report.html")]).output
    assert "sealed by" in run(app, ["seal", "check", str(job / "report.html")]).output
    assert run(app, ["seal", "list"]).output.count("\n") == 2
    assert "sealed by “Harbour Road”" in run(app, ["verify", str(job)]).output
    made = run(app, ["seal", "key", "-o", "shop.pub", "--qr", "shop.svg"])
    assert made.exit_code == 0, made.output
    away(monkeypatch, home)
    assert "with the key that was given" in cli_verify(job, home / "shop.pub")


def test_the_qr_code_holds_what_stands_in_the_file(key: ShopKey) -> None:
    """By segno's own reading of what it encodes: the text, in one symbol."""
    import segno

    pem = (key.folder / "shop.pub").read_bytes()
    code = segno.make(pem.decode(), micro=False)
    assert code.version <= 10  # a phone reads it from a screen
    out = io.BytesIO()
    code.save(out, kind="png", scale=4)
    assert out.getvalue().startswith(b"\x89PNG")


def test_the_limits_are_told_where_one_asks_for_help() -> None:
    told = " ".join(
        CliRunner().invoke(app, ["seal", "--help"], env={"COLUMNS": "80"}).output.split()
    )
    for words in ("vouched for exactly this", "older copy", "shop's own clock"):
        assert words in told


def test_a_file_that_is_no_key_is_refused(home: Path) -> None:
    (home / "no.pub").write_text("no key")
    with pytest.raises(BadInput, match="no public key"):
        load_public(home / "no.pub")
    with pytest.raises(BadInput, match="cannot be read"):
        load_public(home / "gone.pub")
    if shutil.which("openssl"):
        rsa = ["openssl", "genpkey", "-algorithm", "RSA", "-out", str(home / "rsa.key")]
        subprocess.run(rsa, capture_output=True, check=True)
        out = ["openssl", "pkey", "-in", str(home / "rsa.key"), "-pubout"]
        (home / "rsa.pub").write_bytes(subprocess.run(out, capture_output=True, check=True).stdout)
        with pytest.raises(BadInput, match="no Ed25519 key"):
            load_public(home / "rsa.pub")


class Ring(KeyringBackend):
    """A key ring in memory.

    Attributes:
        priority: how far the library trusts it.
        held: what it keeps, by service and user.
    """

    priority = 5

    def __init__(self) -> None:
        super().__init__()
        self.held: dict[tuple[str, str], str] = {}

    def get_password(self, service: str, username: str) -> str | None:
        return self.held.get((service, username))

    def set_password(self, service: str, username: str, password: str) -> None:
        self.held[service, username] = password

    def delete_password(self, service: str, username: str) -> None:
        del self.held[service, username]


@pytest.fixture
def ring(home: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Ring]:
    monkeypatch.delenv(PASSPHRASE, raising=False)
    before, made = keyring.get_keyring(), Ring()
    keyring.set_keyring(made)
    yield made
    keyring.set_keyring(before)


def test_the_key_ring_remembers_the_passphrase_until_it_is_told_to_forget(
    ring: Ring, home: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = CliRunner().invoke
    monkeypatch.setenv(PASSPHRASE, PHRASE)
    made = run(app, ["seal", "init", "--shop", "Harbour Road", "--keyring"])
    assert "in the key ring" in made.output
    monkeypatch.delenv(PASSPHRASE)
    ((service, user),) = ring.held
    assert (service, ring.held[service, user]) == ("handsfree seal", PHRASE)
    assert user == load_public(unlock(PHRASE).folder / "shop.pub"), "told apart by the public key"
    job = a_job(home / "job", 4.98)
    assert "number 1" in run(app, ["seal", "sign", str(job)]).output, "nobody was asked"
    assert seal_status(job).state == "sealed"
    kept = [file.read_bytes() for file in home.rglob("*") if file.is_file()]
    assert not any(PHRASE.encode() in data for data in kept), "in no file, and in no job"
    assert "asked from now on" in run(app, ["seal", "keyring", "--forget"]).output
    assert ring.held == {}
    assert isinstance(run(app, ["seal", "sign", str(job)]).exception, Missing)
    monkeypatch.setenv(PASSPHRASE, "not the passphrase of it")
    assert isinstance(run(app, ["seal", "keyring"]).exception, BadInput)
    monkeypatch.setenv(PASSPHRASE, PHRASE)
    assert "in the key ring" in run(app, ["seal", "keyring"]).output


def test_a_key_ring_is_not_touched_unasked(ring: Ring, home: Path, key: ShopKey) -> None:
    ring.held["handsfree seal", key.public] = PHRASE
    job = a_job(home / "job", 4.98)
    assert isinstance(CliRunner().invoke(app, ["seal", "sign", str(job)]).exception, Missing)


def test_a_key_ring_that_keeps_no_secret_is_refused(
    ring: Ring, key: ShopKey, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Ring, "priority", 0.5)  # as the library gives one of plain text
    with pytest.raises(Missing, match="no key ring"):
        keep_passphrase(key, PHRASE)
    monkeypatch.undo()
    monkeypatch.setattr(Ring, "get_password", lambda *_: None)
    with pytest.raises(Missing, match="give back"):
        keep_passphrase(key, PHRASE)


def test_nobody_to_ask_is_told(home: Path, key: ShopKey, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(PASSPHRASE, raising=False)
    job = a_job(home / "job", 4.98)
    result = CliRunner().invoke(app, ["seal", "sign", str(job)])
    assert isinstance(result.exception, Missing)
    assert os.environ.get(PASSPHRASE) is None


def test_the_report_says_who_sealed_the_job_and_that_it_was_changed_since(
    key: ShopKey, tmp_path: Path
) -> None:
    golden = Path(__file__).parent / "data" / "golden" / "low-beam"
    job, page = tmp_path / "job", tmp_path / "report.html"
    ended = dict(read(golden)[-1].fields)
    with open_job(job, (golden / "plan.yaml").read_bytes(), title="low beam") as log:
        log.append("finished", **ended)
    report_file(job, page)
    assert "Seal: Not sealed." in page.read_text(encoding="utf-8")
    seal_job(job, key)
    report_file(job, page)
    sealed = page.read_text(encoding="utf-8")
    assert "Seal: Sealed by “Harbour Road Electrics” on " in sealed
    assert LIMITS in html.unescape(sealed), "what it proves, and what it does not"
    (job / "events.jsonl").write_bytes(rechained(told(job)))  # at other times
    (job / "finished.json").write_bytes(finish_mark(read(job)[-1]))
    report_file(job, page)
    assert "but it was changed" in page.read_text(encoding="utf-8")
