"""The hash chain and the standing readings: pure, no disk."""

import csv
import hashlib
import io
import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handsfree.check import Comparison, Expected
from handsfree.events import Entry, Logged, ReadingStruck, ReadingTaken
from handsfree.log import fingerprint, rows, standing_readings, to_csv
from handsfree.log.chain import NOTHING, decode, encode, holds_whole_event, scan
from handsfree.meaning import Reading, State, Take
from handsfree.units import quantity

TIME = "2026-03-02T09:15:00.000000Z"
TEXT = st.text('aé Ω"\\\n\r\u2028\x85\0{}', max_size=8)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False)
    | TEXT,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXT, inner, max_size=3),
    max_leaves=6,
)  # fmt: skip
FIELDS = st.dictionaries(
    st.sampled_from(["wire", "value", "text", "alternatives", "Ω"]), JSON, max_size=4
)


def chain_of(*records: tuple[str, dict]) -> bytes:
    data, prev = b"", NOTHING
    for seq, (kind, fields) in enumerate(records, 1):
        line = encode(seq, TIME, kind, fields, prev)
        data, prev = data + line, hashlib.sha256(line).hexdigest()
    return data


LOG = chain_of(
    ("opened", {"plan_title": "Five-wire flap actuator"}),
    ("heard", {"text": "violet four point nine eight volts", "alternatives": []}),
    ("reading", {"wire": "violet", "value": 4.98, "unit": "V"}),
    ("said", {"text": "Violet, 4,98 V … 120 Ω\u2028"}),
    ("reading", {"wire": "black with yellow stripe", "value": 0.02, "unit": "V"}),
    ("finished", {}),
)


def test_the_first_line_follows_from_nothing():
    # SHA-256 of the empty message: NIST, Secure Hash Standard example values (FIPS 180-4).
    assert NOTHING == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    assert scan(LOG).events[0].prev == NOTHING


@settings(deadline=None)
@given(st.lists(st.tuples(st.sampled_from(["heard", "note"]), FIELDS), max_size=5))
def test_what_is_written_is_read(records):
    log = scan(chain_of(*records))
    assert not log.flaws
    assert not log.tail
    assert [(e.kind, dict(e.fields)) for e in log.events] == records
    assert [e.seq for e in log.events] == list(range(1, len(records) + 1))


def test_a_line_is_plain_json_with_the_keys_a_person_reads_first():
    record = json.loads(LOG.splitlines()[2])  # the reference reader, RFC 8259
    assert list(record) == ["seq", "time", "event", "wire", "value", "unit", "prev", "sha"]
    assert "120 Ω" in LOG.decode()
    shown = scan(LOG).events[2].as_dict()
    assert shown == {name: record[name] for name in list(record)[:6]}


def test_hashes_can_be_made_by_hand():
    lines = LOG.split(b"\n")
    record = json.loads(lines[4])
    assert record["prev"] == hashlib.sha256(lines[3] + b"\n").hexdigest()
    assert record["sha"] == hashlib.sha256(lines[4].split(b',"sha"')[0]).hexdigest()


@settings(deadline=None)
@given(st.integers(0, len(LOG) - 1), st.integers(1, 255))
def test_any_changed_byte_is_found(place, mask):
    changed = bytearray(LOG)
    changed[place] ^= mask
    log = scan(bytes(changed))
    assert log.flaws or holds_whole_event(log.tail)


@settings(deadline=None)
@given(st.data())
def test_lines_deleted_swapped_or_repeated_are_found(data):
    lines = LOG.splitlines(keepends=True)
    a, b = data.draw(st.lists(st.integers(0, 5), min_size=2, max_size=2, unique=True))
    swapped = lines.copy()
    swapped[a], swapped[b] = lines[b], lines[a]
    assert scan(b"".join(swapped)).flaws
    assert scan(b"".join([*lines[: a + 1], lines[a], *lines[a + 1 :]])).flaws
    if a < 5:  # the end of a log that was never finished can be cut unseen
        assert scan(b"".join(lines[:a] + lines[a + 1 :])).flaws


def test_a_changed_line_is_blamed_once():
    log = scan(LOG.replace(b"4.98,", b"4.89,"))
    assert [(flaw.line, flaw.what) for flaw in log.flaws] == [
        (3, "the line was changed after it was written")
    ]
    assert log.events[2].fields["value"] == 4.89  # still readable


def test_a_forged_line_that_is_sound_in_itself_breaks_the_chain():
    lines = LOG.splitlines(keepends=True)
    old = decode(lines[2])
    lines[2] = encode(3, TIME, "reading", {"value": 12.0}, old.prev)
    assert [flaw.line for flaw in scan(b"".join(lines)).flaws] == [4]


def test_every_cut_leaves_the_whole_lines_and_a_tail():
    for length in range(len(LOG) + 1):
        log = scan(LOG[:length])
        assert not log.flaws
        assert not holds_whole_event(log.tail)
        assert len(log.events) == LOG[:length].count(b"\n")
        assert LOG[:length].endswith(log.tail)


def test_zeros_of_a_power_cut_are_a_tail():
    log = scan(LOG + bytes(37))
    assert (len(log.events), len(log.tail), log.flaws) == (6, 37, ())


def test_an_ended_line_that_is_no_event_is_a_tail_but_no_cut_write():
    log = scan(LOG + b'{"seq":7}\n')
    assert log.tail == b'{"seq":7}\n'
    assert holds_whole_event(log.tail)


@pytest.mark.parametrize("name", ["seq", "time", "event", "prev", "sha"])
def test_reserved_names_are_refused(name):
    with pytest.raises(ValueError, match="reserved"):
        encode(1, TIME, "note", {name: 1}, NOTHING)


def test_a_number_that_json_has_not_is_refused():
    with pytest.raises(ValueError, match="not JSON compliant"):
        encode(1, TIME, "reading", {"value": float("nan")}, NOTHING)


def test_the_fingerprint_is_the_head_of_the_lines_hash():
    last = LOG.splitlines(keepends=True)[-1]
    head = hashlib.sha256(last).hexdigest()[:32]  # 128 bits
    assert fingerprint(scan(LOG).events[-1]).replace(" ", "") == head


def reading(
    seq: int,
    number: int,
    step: str,
    wire: str,
    take: Take,
    *,
    supersedes: int | None = None,
    pins: tuple[str, ...] = ("3",),
) -> Logged:
    verdict = Comparison("in range", "pass", Expected(low=quantity(4, "V")))
    entry = Entry(number, step, "ignition_on", take, verdict, supersedes)
    return Logged(ReadingTaken(entry, wire, pins), "reading", {"clip": None}, seq, TIME)


def struck(seq: int, number: int) -> Logged:
    return Logged(ReadingStruck(number, "any"), "struck", {}, seq, TIME)


def volts(value: float) -> Reading:
    return Reading(quantity(value, "V"))


HISTORY = [
    reading(3, 1, "s1", "violet", volts(4.98)),
    reading(5, 2, "s2", "brown", volts(1.2)),
    reading(7, 3, "s2", "brown", volts(0.02), supersedes=2),
    reading(9, 4, "s3", "green", State("battery")),
    struck(11, 4),
    reading(13, 5, "s4", "white", volts(11.0)),
    reading(15, 6, "s4", "white", volts(12.0), supersedes=5),
    struck(17, 6),
]


def test_readings_are_superseded_and_struck_but_stay_in_the_history():
    readings = standing_readings(HISTORY)
    assert [reading.seq for reading in readings.standing] == [3, 7]
    assert [(e.seq, e.superseded_by, e.struck_by) for e in readings.history] == [
        (3, None, None),
        (5, 7, None),
        (7, None, None),
        (9, None, 11),
        (13, 15, None),  # striking the correction does not bring it back
        (15, None, 17),
    ]


def test_only_a_later_event_voids_a_reading():
    events = [struck(2, 1), reading(3, 1, "s1", "violet", volts(5.0))]
    assert [reading.seq for reading in standing_readings(events).standing] == [3]


def test_rows_of_what_stands_and_of_the_history():
    assert [row["seq"] for row in rows(HISTORY)] == [3, 7]
    table = list(csv.DictReader(io.StringIO(to_csv(HISTORY, history=True))))
    assert [row["seq"] for row in table] == ["3", "5", "7", "9", "13", "15"]
    assert table[1] == {
        "seq": "5",
        "time": TIME,
        "step": "s2",
        "wire": "brown",
        "pin": "3",
        "condition": "ignition_on",
        "value": "1.2",
        "unit": "V",
        "expected": "at least 4 V",
        "verdict": "in range",
        "clip": "",
        "superseded_by": "7",
        "struck_by": "",
    }


def test_over_limit_and_the_pins_stand_in_the_table():
    shown = reading(3, 1, "s1", "brown to red", Reading(None), pins=("3", "5"))
    (row,) = rows([shown])
    assert (row["value"], row["unit"], row["pin"]) == ("over limit", None, "3 to 5")
