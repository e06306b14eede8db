"""The web server from outside: headers, who is let in, and a phone's sound."""

from __future__ import annotations

import http.client
import json
import logging
import shutil
import socket
import ssl
import struct
import subprocess
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from display_session import PLAN, view, view_after
from hypothesis import given
from hypothesis import strategies as st
from websockets.datastructures import Headers
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.http11 import Request
from websockets.sync.client import ClientConnection, connect

from handsfree.dialogue import Dialogue
from handsfree.display import Site, door, open_display
from handsfree.display.certificate import local_certificate
from handsfree.display.pages import is_ours, page_for
from handsfree.display.pairing import ALPHABET, LIVES, SIGNS, Pairing
from handsfree.display.phone import LATE, Phone
from handsfree.display.web import WRONG_LASTS, WebScreen
from handsfree.errors import BadInput
from handsfree.events import SoundLevel, Spoke
from handsfree.events import told as told_only
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import data_folder, load_language
from handsfree.live import Live, Settings, Turns
from handsfree.log import open_job
from handsfree.plan import load_plan
from handsfree.sound.audio import load
from handsfree.sound.blocks import BACKLOG, BLOCK, Block
from handsfree.sound.card import Lost, Message, Opened, Said
from handsfree.sound.endpoint import Utterance
from handsfree.sound.voice import open_voice


class Served:
    """A server that is up, and ways to ask it."""

    def __init__(self, **options: Any) -> None:
        self.phone, self.pairing = Phone(), Pairing()
        options = {"pairing": self.pairing, **options}
        self.screen = WebScreen(view(0), phone=self.phone, **options)
        self.host = f"127.0.0.1:{self.screen.port}"

    def get(self, path: str, **headers: str) -> http.client.HTTPResponse:
        connection = http.client.HTTPConnection("127.0.0.1", self.screen.port, timeout=10)
        connection.request("GET", path, headers=headers)
        return connection.getresponse()

    @contextmanager
    def socket(self, first: str = "{}") -> Iterator[ClientConnection]:
        """A page that has sent its first message."""
        origin = f"http://{self.host}"
        with connect(f"ws://{self.host}/live", origin=origin) as page:  # type: ignore[arg-type]
            page.send(first)
            yield page

    def headset(self) -> AbstractContextManager[ClientConnection]:
        """A page that has given the code, and so may be the headset."""
        return self.socket(json.dumps({"code": self.pairing.code}))

    def answer(self, **hello: str) -> dict[str, Any]:
        """What a page is told that begins so."""
        with self.socket(json.dumps(hello)) as page:
            return told(page)


@pytest.fixture
def site() -> Iterator[Served]:
    made = Served()
    yield made
    made.screen.close()


@pytest.fixture
def shared(monkeypatch: pytest.MonkeyPatch) -> Iterator[Served]:
    """Open to the network, as seen by a page from elsewhere."""
    monkeypatch.setattr("handsfree.display.web._from_here", lambda _: False)
    monkeypatch.setattr("handsfree.display.web.WRONG_LASTS", 0.01)
    made = Served()
    yield made
    made.screen.close()


def told(page: ClientConnection) -> dict[str, Any]:
    message = json.loads(page.recv(timeout=10))
    assert isinstance(message, dict)
    return message


# Pages ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path", ["/", "/glance.js", "/glance.css", "/barlow-700.woff2", "/nothing"]
)
def test_every_answer_is_strict(site: Served, path: str) -> None:
    """Against the OWASP Secure Headers Project's recommendations (from memory)."""
    answer = site.get(path)
    assert answer.status == (404 if path == "/nothing" else 200)
    policy = dict(
        rule.strip().split(" ", 1)
        for rule in (answer.getheader("Content-Security-Policy") or "").split(";")
    )
    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == "'self'"
    assert "unsafe" not in str(policy)
    assert answer.getheader("X-Content-Type-Options") == "nosniff"
    assert answer.getheader("Referrer-Policy") == "no-referrer"
    assert answer.getheader("Cross-Origin-Opener-Policy") == "same-origin"
    assert answer.getheader("Cross-Origin-Resource-Policy") == "same-origin"
    assert answer.getheader("Cache-Control") == "no-store"
    assert answer.getheader("Access-Control-Allow-Origin") is None
    assert answer.getheader("Server") is None


def test_the_page_needs_nothing_from_elsewhere(site: Served) -> None:
    for path in ("/", "/glance.js", "/glance.css", "/microphone.js", "/voice.js", "/capture.js"):
        text = site.get(path).read().decode()
        assert "http://" not in text
        assert "https://" not in text
        assert "Flap actuator" not in text  # nothing of the job is in it


def test_a_name_of_somebody_elses_dns_is_refused(site: Served) -> None:
    assert site.get("/", Host="evil.example").status == 421
    assert site.get("/", Host=f"localhost:{site.screen.port}").status == 200


@pytest.mark.parametrize(
    ("host", "ours"),
    [
        ("localhost:8710", True),
        ("127.0.0.1", True),
        ("[::1]:8710", True),
        ("192.168.1.20:8710", True),
        ("handsfree.example", False),
        ("localhost.evil.example", False),
        ("", False),
    ],
)
def test_which_hosts_are_ours(host: str, ours: bool) -> None:
    assert is_ours(host) is ours


@given(st.text(max_size=30))
def test_no_host_header_breaks_it(host: str) -> None:
    assert is_ours(host) in (True, False)


@pytest.mark.parametrize("target", ["//[", "http://[x/", "//[::1"])
def test_what_is_no_address_is_no_page(target: str) -> None:
    """It was an error of the server, with a traceback in its log."""
    request = Request(target, Headers({"Host": "localhost"}))
    answer = page_for(request, secure=False)
    assert answer is not None
    assert answer.status_code == 404


@pytest.mark.parametrize("origin", [None, "null", "http://evil.example", "https://127.0.0.1"])
def test_only_the_page_itself_may_open_the_socket(site: Served, origin: str | None) -> None:
    address = f"ws://{site.host}/live"
    with (
        pytest.raises(InvalidStatus) as refused,
        connect(address, origin=origin),  # type: ignore[arg-type]
    ):
        pass
    assert refused.value.response.status_code == 403


# Who is let in ----------------------------------------------------------------------------------


def test_this_machine_needs_no_code(site: Served) -> None:
    with site.socket() as page:
        assert told(page) == {"paired": True, "phone": True}
        assert told(page)["glance"]["title"] == view(0).title


def test_only_what_changed_is_sent(site: Served) -> None:
    with site.socket() as page:
        told(page), told(page)
        site.screen.show(view_after("point oh two"))
        changed = told(page)["glance"]
        assert changed["value"]["shown"] == "0.02"
        assert "title" not in changed


def test_without_the_code_nothing_is_shown(shared: Served) -> None:
    for hello in ({}, {"code": ""}, {"token": "guess"}, {"token": ""}):
        with shared.socket(json.dumps(hello)) as page:
            assert told(page) == {"paired": False, "wrong": False}
            with pytest.raises(ConnectionClosed):
                page.recv(timeout=10)


def test_the_code_opens_it_and_the_token_again(shared: Served) -> None:
    code = shared.pairing.code
    with shared.socket(json.dumps({"code": f"{code[:4].lower()}-{code[4:]}"})) as page:
        token = told(page)["token"]
        assert "glance" in told(page)
    assert shared.answer(token=token)["paired"]


def test_no_guess_of_somebody_else_keeps_the_right_code_out(shared: Served) -> None:
    for guess in range(60):
        assert shared.answer(code=f"{guess:08}") == {"paired": False, "wrong": True}
    assert shared.answer(code=shared.pairing.code)["paired"]


def test_a_wrong_guess_keeps_its_connection_busy(
    shared: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handsfree.display.web.WRONG_LASTS", 0.3)
    began = time.monotonic()
    assert shared.answer(code="00000000")["wrong"]
    assert time.monotonic() - began >= 0.3


def test_a_code_has_forty_bits_and_an_hour_of_guesses_is_little() -> None:
    assert len(ALPHABET) == len(set(ALPHABET)) == 32
    codes = {Pairing().code for _ in range(200)}
    assert len(codes) == 200
    assert {len(code) for code in codes} == {SIGNS}
    guesses = door.MOST_GUESTS / WRONG_LASTS * LIVES
    assert guesses / 32**SIGNS < 1 / 2_000_000


def test_a_code_expires_and_another_is_shown() -> None:
    now, shown = [0.0], list[str]()
    pairing = Pairing(lambda: now[0])
    pairing.announce = shown.append
    first = pairing.code
    token = pairing.admit(first)
    now[0] += LIVES
    assert pairing.admit(first) is None
    assert shown == [pairing.code]
    assert pairing.code != first
    assert pairing.admit(pairing.code)
    assert token
    assert pairing.knows(token)  # who was let in stays
    pairing.admit("wrong")
    assert len(shown) == 1


def test_what_looks_alike_is_the_same() -> None:
    pairing = Pairing()
    code = pairing.code.replace("0", "o").replace("1", "l")
    assert pairing.admit(f" {code[:4]} - {code[4:]}".lower())
    assert not pairing.knows("")
    assert not pairing.knows("\ud800")
    assert not pairing.admit("\u00b2" * SIGNS)


def test_the_headset_needs_the_code_on_this_machine_too(site: Served) -> None:
    with site.socket() as page:
        assert told(page)["paired"]  # it may look
        told(page)
        page.send(json.dumps({"microphone": {"rate": 16_000}}))
        assert told(page) == {"microphone": "code"}
        page.send(pcm(0, np.ones(512)))
    with site.headset() as page:
        token = told(page)["token"]
    with site.socket(json.dumps({"token": token})) as page:
        told(page), told(page)
        page.send(json.dumps({"microphone": {"rate": 16_000}}))
        assert told(page) == {"microphone": "on"}


def test_without_a_code_there_is_no_headset() -> None:
    made = Served(pairing=None)
    with made.socket() as page:
        told(page), told(page)
        page.send(json.dumps({"microphone": {"rate": 16_000}}))
        assert told(page) == {"microphone": "code"}
    made.screen.close()


# Strangers who say nothing ----------------------------------------------------------------------


def idle(screen: WebScreen, count: int) -> list[socket.socket]:
    return [socket.create_connection(("127.0.0.1", screen.port), timeout=5) for _ in range(count)]


def shut(guest: socket.socket, seconds: float = 5) -> bool:
    """Whether the server has ended a connection."""
    guest.settimeout(seconds)
    try:
        return guest.recv(1) == b""
    except ConnectionError:
        return True
    except TimeoutError:
        return False


def test_idle_connections_are_bounded_and_leave_the_files_alone(
    site: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    with site.headset() as page:
        told(page), told(page)
        before = len(list(Path("/proc/self/fd").iterdir()))
        strangers = idle(site.screen, 2 * door.MOST_GUESTS)
        assert sum(shut(guest) for guest in strangers[-door.MOST_GUESTS :]) == door.MOST_GUESTS
        opened = len(list(Path("/proc/self/fd").iterdir())) - before
        assert opened <= len(strangers) + door.MOST_GUESTS  # ours, and theirs that are let in
        site.screen.show(view_after("point oh two"))
        assert told(page)["glance"]["value"]["shown"] == "0.02"
        for guest in strangers:
            guest.close()
        time.sleep(0.2)
    assert site.get("/").status == 200


def test_one_address_does_not_fill_the_door(site: Served, monkeypatch: pytest.MonkeyPatch) -> None:
    class Elsewhere:
        is_loopback = False

    monkeypatch.setattr("handsfree.display.door.ip_address", lambda _: Elsewhere)
    strangers = idle(site.screen, door.OF_ONE_ADDRESS + 3)
    assert all(shut(guest) for guest in strangers[-3:])
    assert not any(shut(guest, 0.1) for guest in strangers[:-3])
    for guest in strangers:
        guest.close()


@pytest.mark.parametrize("said", [b"", b"GET / HTTP/1.1\r\n", b"\x16\x03\x01"])
def test_who_says_nothing_or_little_is_shut_out(
    said: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handsfree.display.web.OPENED_WITHIN", 0.3)
    made = Served()
    (guest,) = idle(made.screen, 1)
    with guest:
        guest.sendall(said)
        assert shut(guest)
    made.screen.close()


def test_who_opens_the_socket_and_says_nothing_is_shut_out(
    site: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handsfree.display.web.PAIRED_WITHIN", 0.3)
    origin = f"http://{site.host}"
    with (
        connect(f"ws://{site.host}/live", origin=origin) as page,  # type: ignore[arg-type]
        pytest.raises(ConnectionClosed),
    ):
        page.recv(timeout=5)


def test_a_tls_handshake_that_is_not_ended_is_shut_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("handsfree.display.web.OPENED_WITHIN", 0.3)
    made = Served(context=local_certificate(tmp_path, {"127.0.0.1"}).context())
    (guest,) = idle(made.screen, 1)
    with guest:
        assert shut(guest)
    made.screen.close()


def test_a_page_that_does_not_say_who_it_is_gets_nothing(shared: Served) -> None:
    for nonsense in ("[]", "hello", "{", '"code"', "7"):
        with shared.socket(nonsense) as page, pytest.raises(ConnectionClosed):
            page.recv(timeout=10)


# Opening ----------------------------------------------------------------------------------------


def test_a_port_that_is_taken_is_told_with_a_remedy(site: Served) -> None:
    with pytest.raises(BadInput, match="--port"):
        WebScreen(view(0), port=site.screen.port)


def test_an_invitation_to_the_network(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("handsfree.display.web_display.own_address", lambda: "127.0.0.1")
    monkeypatch.setattr("handsfree.display.web_display.user_data_path", lambda _: tmp_path)
    said: list[str] = []
    plan = load_plan("relay-4pin").plan
    display = open_display("web", plan, site=Site(0, share=True, https=True), announce=said.append)
    display.close()
    assert "https://127.0.0.1:" in said[0]
    assert "pairing code: " in said[0]
    assert "SHA-256" in said[0]


def test_nothing_is_open_to_the_network_unless_it_is_shared(site: Served) -> None:
    """Another address of this very machine is refused."""
    from handsfree.display.web_display import own_address

    try:
        address = own_address()
    except BadInput:
        pytest.skip("this machine is in no network")
    connection = http.client.HTTPConnection(address, site.screen.port, timeout=5)
    with pytest.raises(OSError, match=r"refused|timed out"):
        connection.request("GET", "/")


def test_telling_never_waits_and_a_closed_display_stays_silent() -> None:
    lines: list[dict[str, Any]] = []
    display = open_display(
        "web", load_plan("relay-4pin").plan, plain=lines.append, site=Site(0), announce=lines.append
    )  # type: ignore[arg-type]
    display.tell(told_only(SoundLevel(0.5)))
    display.close()
    display.tell(told_only(Spoke("still here")))
    assert [line.event for line in lines[1:]] == [Spoke("still here")]


# Certificate ------------------------------------------------------------------------------------


@pytest.mark.skipif(not shutil.which("openssl"), reason="openssl is not installed")
def test_the_certificate_as_openssl_sees_it(tmp_path: Path) -> None:
    names = {"192.0.2.7", "127.0.0.1", "localhost"}
    made = local_certificate(tmp_path, names)
    assert made.file.stat().st_mode & 0o077 == 0
    seen = subprocess.run(
        ["openssl", "x509", "-in", made.file, "-noout", "-text", "-fingerprint", "-sha256"],
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert made.fingerprint in seen
    assert "IP Address:192.0.2.7" in seen
    assert "DNS:localhost" in seen
    assert "CA:FALSE" in seen


def test_the_certificate_is_kept_until_it_does_not_fit(tmp_path: Path) -> None:
    first = local_certificate(tmp_path, {"localhost"})
    assert local_certificate(tmp_path, {"localhost"}) == first
    assert local_certificate(tmp_path, {"localhost", "192.0.2.7"}) != first


def test_https_is_served_with_it(tmp_path: Path) -> None:
    made = local_certificate(tmp_path, {"127.0.0.1"})
    served = Served(context=made.context())
    trusting = ssl.create_default_context(cafile=str(made.file))
    connection = http.client.HTTPSConnection(
        "127.0.0.1", served.screen.port, context=trusting, timeout=10
    )
    connection.request("GET", "/")
    assert connection.getresponse().status == 200
    served.screen.close()


# Phone ------------------------------------------------------------------------------------------


def pcm(number: int, samples: np.ndarray[Any, Any], speaking: bool = False) -> bytes:
    header = struct.pack("<II", number, speaking)
    return header + (samples * 32767).astype("<i2").tobytes()


def collect(phone: Phone, until: Callable[[list[Message]], bool]) -> list[Message]:
    """Messages until there are enough of them."""
    found: list[Message] = []
    for message in phone.messages():
        found.append(message)
        if until(found):
            break
    return found


def test_a_phone_over_the_socket_is_a_headset(site: Served) -> None:
    """A sine of 1 kHz at 48 kHz arrives as one of 1 kHz at 16 kHz, and a voice goes back."""
    tone = np.sin(2 * np.pi * 1000 * np.arange(48_000) / 48_000)
    with site.headset() as page:
        told(page), told(page)
        page.send(json.dumps({"microphone": {"rate": 48_000}}))
        assert told(page) == {"microphone": "on"}
        for number, start in enumerate(range(0, 48_000, 1536)):
            page.send(pcm(number, tone[start : start + 1536], speaking=number > 20))
        heard = collect(site.phone, lambda found: len(found) == 30)
        assert heard[0] == Opened("phone", "phone", 48_000, 1, "phone")
        blocks = [m for m in heard if isinstance(m, Block)]
        assert all(block.samples.shape == (BLOCK,) for block in blocks)
        assert all(block.samples.dtype == np.float32 for block in blocks)
        assert [block.speaking for block in blocks] == sorted(block.speaking for block in blocks)
        assert not any(block.lost for block in blocks)
        sound = np.concatenate([block.samples for block in blocks])[1600:14_400]
        spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound))))
        assert np.argmax(spectrum) * 16_000 / len(sound) == pytest.approx(1000, abs=2)
        assert np.sqrt(np.mean(sound**2)) == pytest.approx(np.sqrt(0.5), rel=0.01)

        site.phone.play(7, np.array([0.0, 0.5, -1.0], np.float32), 22_050)
        site.phone.end(7)
        voice = page.recv(timeout=10)
        assert isinstance(voice, bytes)
        assert struct.unpack("<IIhhh", voice) == (7, 22_050, 0, 16383, -32767)
        assert told(page) == {"end": 7}
        page.send(json.dumps({"said": 7}))
        assert collect(site.phone, lambda found: found[-1] == Said(7))
    assert isinstance(collect(site.phone, lambda f: isinstance(f[-1], Lost))[-1], Lost)


def test_only_one_phone_at_a_time(site: Served) -> None:
    with site.headset() as first, site.headset() as second:
        for page in (first, second):
            told(page), told(page)
        first.send(json.dumps({"microphone": {"rate": 16_000}}))
        assert told(first) == {"microphone": "on"}
        second.send(json.dumps({"microphone": {"rate": 16_000}}))
        assert told(second) == {"microphone": "busy"}
        second.send(pcm(0, np.ones(512)))
        first.send(json.dumps({"microphone": None}))
        found = collect(site.phone, lambda f: isinstance(f[-1], Lost))
        assert not any(isinstance(m, Block) for m in found)
        second.send(json.dumps({"microphone": {"rate": 16_000}}))
        assert told(second) == {"microphone": "on"}


def test_what_a_phone_could_not_send_is_counted() -> None:
    phone = Phone()
    phone.claim(self := object(), 16_000, lambda _: None)
    for number in (0, 1, 4):
        phone.feed(self, pcm(number, np.zeros(512)))
    _, first, second, third = collect(phone, lambda found: len(found) == 4)
    assert [m.lost for m in (first, second, third) if isinstance(m, Block)] == [0, 0, 1024]


def test_sound_that_nobody_takes_is_dropped_and_counted() -> None:
    phone = Phone()
    phone.claim(self := object(), 16_000, lambda _: None)
    most = int(BACKLOG * 16_000 / BLOCK)
    for number in range(most + 10):
        phone.feed(self, pcm(number, np.zeros(512)))
    kept = collect(phone, lambda found: len(found) == most)
    phone.feed(self, pcm(most + 10, np.zeros(512)))
    rest = collect(phone, lambda f: isinstance(f[-1], Block) and f[-1].lost > 0)
    assert len(kept) + len(rest) < most + 12
    assert isinstance(rest[-1], Block)
    assert rest[-1].lost >= 9 * BLOCK


@pytest.mark.parametrize("jump", [10**6, 2**31, 2**32 - 1, -3])
def test_a_count_that_jumps_does_not_shift_the_times(jump: int) -> None:
    now = [0.0]
    phone = Phone(lambda: now[0])
    phone.claim(self := object(), 16_000, lambda _: None)
    for number in range(5):
        phone.feed(self, pcm(number, np.zeros(512)))
    now[0] += 1.0
    phone.feed(self, pcm((5 + jump) % 2**32, np.zeros(512)))
    *_, last = collect(phone, lambda found: len(found) == 7)
    assert isinstance(last, Block)
    assert last.lost <= (1.0 + LATE) * 16_000
    phone.feed(self, pcm((6 + jump) % 2**32, np.zeros(512)))
    *_, last = collect(phone, lambda found: len(found) == 1)
    assert isinstance(last, Block)
    assert last.lost == 0


@given(st.binary(max_size=64))
def test_no_message_of_a_phone_breaks_it(message: bytes) -> None:
    phone = Phone()
    phone.claim(self := object(), 44_100, lambda _: None)
    phone.feed(self, message)


@pytest.mark.parametrize("rate", [0, -1, 10**9, 44_100.5, "16000", None, True])
def test_a_rate_that_no_browser_records_at_is_refused(rate: object) -> None:
    assert not Phone().claim(object(), rate, lambda _: None)


def test_odd_messages_do_not_end_the_server(site: Served, caplog: pytest.LogCaptureFixture) -> None:
    """Nor do they reach the terminal, as an error of the server would."""
    nested = ('{"x":' * 5000, "[" * 60_000, '{"microphone":' * 4000)
    odd = ('{"microphone": 3}', '{"said": "x"}', "{}", '{"microphone": {}}', b"", b"\0" * 7, "\0")
    numbers = ('{"said": ' + "9" * 5000 + "}", '{"microphone": {"rate": 1e999}}', '{"said": NaN}')
    for message in (*odd, *nested, *numbers, "x" * 70_000):
        with site.headset() as page, suppress(ConnectionClosed):
            told(page), told(page)
            page.send(message)
            page.send(message)
            time.sleep(0.02)
    for hello in (
        *nested,
        *numbers,
        '{"token": {"x": []}}',
        '{"code": [1]}',
        '{"code": "\\ud800"}',
    ):
        with site.socket(hello) as page, suppress(ConnectionClosed):
            page.recv(timeout=2)
    assert not [record for record in caplog.records if record.levelname == "ERROR"]
    with site.socket() as page:
        assert told(page)["paired"]


def test_what_a_stranger_sends_does_not_reach_the_terminal(
    site: Served, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two requests in one packet trip an assertion of the library, which ends that connection."""
    monkeypatch.setattr(logging.getLogger(), "handlers", [])  # as outside the tests
    request = b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n"
    for _ in range(3):
        with socket.create_connection(("127.0.0.1", site.screen.port), timeout=5) as guest:
            guest.sendall(request * 2)
            with suppress(ConnectionError):
                while guest.recv(1 << 16):
                    pass
    assert site.get("/").status == 200
    assert capsys.readouterr().err == ""


def test_a_job_is_dictated_through_a_phone(site: Served, tmp_path: Path) -> None:
    """The live loop with the phone in the place of the sound card; the words are typed."""
    said = iter(["twelve point six volts", "finish", "yes"])
    heard: list[float] = []

    class Ears:
        name = "typed"

        def hear(self, utterance: Utterance, *_: object) -> Heard:
            heard.append(utterance.end - utterance.start)
            return Heard.of_text(next(said))

        guess = hear

        def prepare(self, grammar: object) -> None:
            """It needs none."""

        def give_up(self) -> None:
            """It hears at once."""

    word = load(data_folder("demo_audio") / "low-beam" / "01-joe.flac").samples
    sound = np.concatenate([word, np.zeros(16_000, np.float32)] * 3)
    loaded = load_plan(PLAN)
    events: list[dict[str, Any]] = []
    with site.headset() as page:
        told(page), told(page)
        page.send(json.dumps({"microphone": {"rate": 16_000}}))
        for number, start in enumerate(range(0, len(sound) - BLOCK, BLOCK)):
            page.send(pcm(number, sound[start : start + BLOCK]))
        live = Live(
            site.phone,
            open_voice("off"),
            Turns(),
            Settings(),
            lambda logged: events.append(logged.as_dict()),
        )
        with live, open_job(tmp_path / "job", loaded.text.encode(), title="van") as log:
            job = Job(Dialogue(loaded.plan, load_language("en")), log, live.follow, live.speak)
            live.run(job, Ears(), check=False)  # type: ignore[arg-type]
    assert events[0] == {"event": "microphone", "state": "open", "text": "phone, 16000 Hz"}
    utterances = [event for event in events if event["event"] == "heard"]
    assert {(event["via"], event["source"]) for event in utterances} == {("phone", "phone")}
    reading = next(event for event in events if event["event"] == "reading")
    assert (reading["value"], reading["unit"]) == (12.6, "V")
    assert events[-1]["event"] == "finished" or job.finished
    assert all(length == pytest.approx(heard[0], abs=0.2) for length in heard)
    assert any(event["event"] == "level" for event in events)
