"""The page over all jobs: who may ask for what, and what a job's text can do on it (nothing)."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from review_jobs import SAID, TITLE, workshop, write
from review_server import Served

from handsfree.log import JobRecord, open_job, read, verify
from handsfree.review import serving
from handsfree.review.index import JobIndex, Wanted
from handsfree.review.jobs import Shop
from handsfree.review.sound import clip_response
from handsfree.review.tables import local_engine


def shop_of(jobs: Path, cache: Path) -> Shop:
    shop = Shop(jobs, JobIndex(local_engine(cache / "index.sqlite")))
    shop.look()
    return shop


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    folder = tmp_path_factory.mktemp("shop")
    return shop_of(workshop(folder / "jobs"), folder)


@pytest.fixture(scope="module")
def page(shop: Shop) -> Iterator[Served]:
    served = Served(shop)
    yield served
    served.close()


def ids(shop: Shop) -> dict[str, str]:
    return {row.folder: row.id for row in shop.index.find(Wanted()).jobs}


# Who may ask ------------------------------------------------------------------------------------


def test_every_answer_is_strict(page: Served, shop: Shop) -> None:
    for path in ("/", f"/job/{ids(shop)['one']}", "/review.css", "/nowhere", "/job/../../etc"):
        _, headers, _ = page.ask(path)
        policy = headers["content-security-policy"]
        assert policy.startswith("default-src 'none'")
        assert "unsafe" not in policy
        assert "script-src" not in policy  # so none runs
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cache-control"] == "no-store"
        assert "server" not in headers


@pytest.mark.parametrize(
    "host", ["evil.example", "", "evil.example:80", "[", "127.0.0.1.nip.example"]
)
def test_a_name_that_is_not_this_machines_is_refused(page: Served, host: str) -> None:
    """DNS rebinding: a foreign page whose name points here."""
    assert page.ask("/", headers={"Host": host})[0] in (400, 421)


@pytest.mark.parametrize("origin", ["https://evil.example", "null", "http://127.0.0.1:1", None])
def test_a_foreign_page_can_add_nothing(page: Served, shop: Shop, origin: str | None) -> None:
    job = ids(shop)["two"]
    before = (shop.jobs / "two" / "events.jsonl").read_bytes()
    form, headers = {"by": "Eve"}, {"Origin": origin or ""}
    assert page.ask(f"/job/{job}/reviewed", form, headers)[0] == 403
    assert (shop.jobs / "two" / "events.jsonl").read_bytes() == before
    if origin:
        assert page.ask("/", headers={"Origin": origin})[0] == 403


def test_a_foreign_page_can_embed_nothing(page: Served) -> None:
    cross = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "no-cors"}
    assert page.ask("/", headers=cross)[0] == 403
    assert page.ask("/", headers={**cross, "Sec-Fetch-Mode": "navigate"})[0] == 200


def test_other_methods_and_large_forms_are_refused(page: Served, shop: Shop) -> None:
    path = f"/job/{ids(shop)['two']}/reviewed"
    assert page.ask("/", method="DELETE")[0] == 405
    assert page.ask(path, method="GET")[0] == 405
    assert page.ask(path, {"by": "x" * 20_000})[0] == 413
    assert page.ask(path, {str(n): "x" for n in range(30)})[0] == 400


def test_from_elsewhere_only_who_is_paired_sees_anything(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the glance page: this machine needs no code, so its address is taken for another's."""
    monkeypatch.setattr("handsfree.review.gate.ip_address", lambda _: _Elsewhere())
    monkeypatch.setattr(serving, "own_address", lambda: "127.0.0.1")
    monkeypatch.setattr("handsfree.review.pages.WRONG_LASTS", 0.0)
    served = Served(shop, share=True)
    try:
        for path in ("/", f"/job/{ids(shop)['one']}", f"/plan?title={TITLE[:4]}", "/nowhere"):
            status, headers, body = served.ask(path)
            assert (status, headers["location"], body) == (303, "/pair", b"")
        pairing = served.site.pairing
        assert pairing is not None
        assert served.ask("/pair")[0] == 200
        assert served.ask("/pair", {"code": "WRONG"})[0] == 403
        status, headers, _ = served.ask("/pair", {"code": pairing.code.lower()})
        assert status == 303
        cookie = headers["set-cookie"]
        assert {"HttpOnly", "SameSite=strict"} <= set(cookie.split("; "))
        assert served.ask("/", headers={"Cookie": cookie.split(";")[0]})[0] == 200
        assert served.ask("/", headers={"Cookie": "paired=guess"})[0] == 303
    finally:
        served.close()


class _Elsewhere:
    is_loopback = False


# Listened to ------------------------------------------------------------------------------------


def test_a_clip_is_given_whole_and_in_parts(page: Served, shop: Shop) -> None:
    folder, job = shop.jobs / "one", ids(shop)["one"]
    name = next(line.fields["clip"] for line in read(folder) if "clip_sha256" in line.fields)
    sound = (folder / name).read_bytes()
    path = f"/job/{job}/sound/{Path(name).name}"
    status, headers, body = page.ask(path)
    assert (status, headers["content-type"], body) == (200, "audio/flac", sound)
    status, headers, body = page.ask(path, headers={"Range": "bytes=10-19"})
    assert (status, body) == (206, sound[10:20])
    assert headers["content-range"] == f"bytes 10-19/{len(sound)}"


@pytest.mark.parametrize(
    ("wanted", "status", "body"),
    [
        ("bytes=0-", 206, b"0123456789"),
        ("bytes=2-3", 206, b"23"),
        ("bytes=-3", 206, b"789"),
        ("bytes=-99", 206, b"0123456789"),
        ("bytes=8-99", 206, b"89"),
        ("bytes=10-", 416, b""),
        ("bytes=-0", 416, b""),
        ("bytes=3-2", 200, b"0123456789"),  # RFC 9110, 14.1.1: no valid range, passed over
        ("bytes=0-1,3-4", 200, b"0123456789"),
        ("bytes=-", 200, b"0123456789"),
        ("lines=0-1", 200, b"0123456789"),
        ("bytes=a-b", 200, b"0123456789"),
        (None, 200, b"0123456789"),
    ],
)
def test_a_range_is_that_of_the_standard(wanted: str | None, status: int, body: bytes) -> None:
    answer = clip_response(b"0123456789", wanted)
    assert (answer.status_code, bytes(answer.body)) == (status, body)


@pytest.mark.parametrize(
    "name",
    [
        "../events.jsonl", "..%2fevents.jsonl", "%2e%2e/%2e%2e/events.jsonl", "..%5cevents.jsonl",
        "%2fetc%2fpasswd", "events.jsonl", "99999.flac", "00001.flac%00",
        "00001.flac/../../plan.yaml",
        "link.flac", "", ".", "~", "C:%5cboot.ini",
    ],
)  # fmt: skip
def test_no_path_leads_out_of_the_clips(page: Served, shop: Shop, name: str) -> None:
    assert page.ask(f"/job/{ids(shop)['one']}/sound/{name}")[0] in (307, 404)
    assert page.ask(f"/job/{name}")[0] in (307, 404)
    assert page.ask(f"/job/{name}/report")[0] in (307, 404)


def test_a_clip_that_is_a_link_is_not_followed(page: Served, shop: Shop, tmp_path: Path) -> None:
    folder = shop.jobs / "three"
    name = next(line.fields["clip"] for line in read(folder) if "clip_sha256" in line.fields)
    secret = tmp_path / "secret"
    secret.write_text("secret")
    kept = (folder / name).read_bytes()
    (folder / name).unlink()
    (folder / name).symlink_to(secret)
    try:
        assert page.ask(f"/job/{ids(shop)['three']}/sound/{Path(name).name}")[0] == 404
    finally:
        (folder / name).unlink()
        (folder / name).write_bytes(kept)


# Added to ---------------------------------------------------------------------------------------


def test_a_correction_is_an_event_with_a_name_and_a_reason(tmp_path: Path, shop: Shop) -> None:
    jobs = Path(shutil.copytree(shop.jobs, tmp_path / "jobs"))
    own = shop_of(jobs, tmp_path)
    served, folder = Served(own), jobs / "two"
    try:
        job = ids(own)["two"]
        number = JobRecord.read(folder).readings.standing[2].entry.number
        form = {"number": number, "value": "4.89 V", "by": "Ada Ö", "reason": "listened"}
        for lacking in ("by", "reason", "value", "number"):
            status, _, body = served.ask(f"/job/{job}/correct", {**form, lacking: ""})
            assert status == 400
            assert b'role="alert"' in body
        status, headers, _ = served.ask(f"/job/{job}/correct", form)
        assert (status, headers["location"]) == (303, f"/job/{job}#r{number}")
        shown = served.text(f"/job/{job}")
        assert "<s>4.98 V</s>" in shown
        assert "put right by Ada Ö: listened" in shown
        assert 'value="Ada Ö"' in page_with(served, job, headers["set-cookie"])
        assert served.ask(f"/job/{job}/reviewed", {"by": "Ada", "remark": "fine"})[0] == 303
        assert "Ada: fine" in served.text(f"/job/{job}")
        assert served.text("/?words=4.89").count('scope="row"') == 1
        assert verify(folder).ok
        with open_job(folder, (folder / "plan.yaml").read_bytes(), title=TITLE):
            status, _, body = served.ask(f"/job/{job}/reviewed", {"by": "Ada"})
            assert (status, b"another dictation is writing" in body) == (400, True)
    finally:
        served.close()


def page_with(served: Served, job: str, cookie: str) -> str:
    _, _, body = served.ask(f"/job/{job}", headers={"Cookie": cookie.split(";")[0]})
    return body.decode()


# Injected ---------------------------------------------------------------------------------------

SCRIPT = "<script>alert(1)</script>\"><img src=x onerror=alert(2)>'--{{7*7}}&#60;"


class _Tags(HTMLParser):
    """Every element of a page, and every attribute that is an event."""

    def __init__(self) -> None:
        super().__init__()
        self.names: set[str] = set()
        self.events: list[str] = []

    def handle_starttag(self, tag: str, attributes: list[tuple[str, str | None]]) -> None:
        self.names.add(tag)
        self.events += [name for name, _ in attributes if name.startswith("on") or name == "style"]


#: Fields that somebody speaks, types or imports, each with a place of its own.
FIELDS = ("vehicle", "technician", "order", "complaint", "note", "by", "reason", "remark")


@pytest.fixture(scope="module")
def injected(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("injected")
    jobs = folder / "jobs"
    told = {name: f"{name} {SCRIPT}" for name in ("vehicle", "technician", "order", "complaint")}
    for number, name in enumerate(("one <b>&'", "two")):
        said = [*SAID[:4], f"note {SCRIPT}", *SAID[5:8]]
        write(jobs / name, said, day=number + 1, **told)
    shop = shop_of(jobs, folder)
    served = Served(shop)
    for job in ids(shop).values():
        sign = {"by": f"by {SCRIPT}"[:80], "reason": f"reason {SCRIPT}"}
        record = shop.open(job)
        assert record is not None
        number = record.record.readings.standing[0].entry.number
        note = next(line.seq for line in read(record.folder or jobs) if line.kind == "note")
        for path, form in {
            "correct": {"number": number, "value": "12.5", **sign},
            "note": {"note": note, "text": f"note {SCRIPT}", **sign},
            "reviewed": {"by": sign["by"], "remark": f"remark {SCRIPT}"},
        }.items():
            assert served.ask(f"/job/{job}/{path}", form)[0] == 303
    yield served
    served.close()


def test_no_text_of_a_job_becomes_a_part_of_the_page(injected: Served) -> None:
    from urllib.parse import quote

    one, two = re.findall(r"/job/([0-9a-f]{32})", injected.text("/"))
    person = quote(f"technician {SCRIPT}")
    pages = {
        "list": injected.text("/?words=script&vehicle=" + quote(SCRIPT[:30])),
        "all": injected.text("/"),
        "job": injected.text(f"/job/{one}"),
        "other": injected.text(f"/job/{two}"),
        "compare": injected.text(f"/compare?one={one}&other={two}"),
        "plan": injected.text(f"/plan?title={quote(TITLE)}&job={one}"),
        "person": injected.text(f"/person?name={person}"),
        "wrong": injected.ask(f"/job/{quote(SCRIPT, safe='')}")[2].decode(),
        "refused": injected.ask(f"/job/{one}/correct", {"value": SCRIPT, "number": "1"})[
            2
        ].decode(),
    }
    for name, page in pages.items():
        tags = _Tags()
        tags.feed(page)
        assert not tags.names & {"script", "img", "iframe", "b", "object", "style"}, name
        assert tags.events == [], name
        assert (
            "49" not in re.sub(r"[0-9a-f]{32}|\d+[.:-]\d+[.:\d-]*", "", page) or "{{7*7}}" in page
        )
    for field in FIELDS:
        assert f"{field} &lt;script&gt;" in pages["job"] + pages["other"], field


#: Queries that a person or a programme may send; none may be more than not found.
QUERIES = [
    "?words=%22", "?words=NEAR(", "?words=a%00b", "?words=%ff%fe", "?page=-1", "?page=99999999",
    "?page=x", "?since=yesterday", "?since=9999-12-31&until=9999-12-31", "?since=0001-01-01",
    "?plan=%27%20OR%201=1--", "?status=%00", "?technician=%F0%9F%98%80", "?words=" + "a%20" * 2000,
    "?vehicle=%25", "?words=%22%22", "?" + "&".join(f"a{n}=1" for n in range(500)),
]  # fmt: skip


@pytest.mark.parametrize("query", QUERIES, ids=range(len(QUERIES)))
def test_no_query_breaks_the_page(page: Served, shop: Shop, query: str) -> None:
    assert page.ask(f"/{query}")[0] == 200
    for path in ("/compare", "/plan", "/person"):
        assert page.ask(path + query)[0] in (400, 404)
    assert page.ask(f"/job/{ids(shop)['one']}{query}")[0] == 200


def test_values_that_are_not_of_this_plan_are_told(page: Served, shop: Shop) -> None:
    one, two = ids(shop)["one"], ids(shop)["two"]
    shown = page.text(f"/compare?one={one}&other={two}")
    assert shown.count("4.98 V") == 2
    assert "not measured" in shown
    assert page.ask(f"/compare?one={one}&other={'0' * 32}")[0] == 404


def test_the_report_is_given_to_be_kept(page: Served, shop: Shop) -> None:
    status, headers, body = page.ask(f"/job/{ids(shop)['one']}/report")
    assert (status, headers["content-disposition"]) == (200, 'attachment; filename="one.html"')
    assert b"Panel van" in body
