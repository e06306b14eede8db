"""A dictation through a real sound server: microphone, voice, and an outage in the middle.

The session of demo_audio is played into a null sink, answer by answer and in real time; the
microphone is the monitor of that sink, on which the tool's own voice is heard as well.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from demo_readings import ANSWERS, PLAN, answers, logged, readings, typed
from sound_server import Dictation, Recorder, SoundServer, missing

from handsfree.log import verify
from handsfree.sound.audio import Audio, load
from handsfree.sound.endpoint import utterances

pytestmark = pytest.mark.skipif(bool(missing()), reason=missing())

KILLED_AT = 3
"""The sound server dies while this answer is read back."""

ASLEEP_AT = 5
"""The machine sleeps for a while after this answer."""


@dataclass
class Told:
    """What came of the session."""

    job: Path
    dictation: Dictation
    recorder: Recorder
    status: int


def say(server: SoundServer, dictation: Dictation, path: Path) -> None:
    """Say it; again, as anybody does, if it fell into the tool's own words."""
    server.play(path)
    try:
        dictation.wait("heard", timeout=45)
    except TimeoutError:
        server.play(path)
        dictation.wait("heard")


@pytest.fixture(scope="module")
def told(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Told]:
    folder = tmp_path_factory.mktemp("sound")
    server = SoundServer(folder)
    server.start()
    recorder = Recorder(server)
    job = folder / "job"
    how = ["--job", job, "--voice", "espeak-ng", "--verbosity", "short", "--speed", 150]
    dictation = Dictation(server, PLAN, *how, log=folder / "errors.txt")
    try:
        dictation.wait("microphone", state="check")
        recorder.wait_said()
        server.play(answers()[0])  # any word will do for the level check
        dictation.wait("microphone", state="ready")
        dictation.wait("said")
        recorder.wait_said()
        for number, path in enumerate(answers(), 1):
            say(server, dictation, path)
            dictation.wait("said", "asked")
            if number == KILLED_AT:
                time.sleep(0.3)  # in the middle of the read-back
                server.kill()
                recorder.stop()
                dictation.wait("microphone", state="lost")
                server.start()
                recorder = Recorder(server)
                dictation.wait("microphone", state="back")
            recorder.wait_said()
            if number == ASLEEP_AT:
                dictation.sleep(5.0)
        time.sleep(1.0)
        yield Told(job, dictation, recorder, dictation.stop())
    finally:
        print((folder / "errors.txt").read_text())
        dictation.process.kill()
        recorder.stop()
        server.kill()


def voiced(audio: Audio) -> float:
    """Seconds of speech."""
    return sum(utterance.voiced or 0.0 for utterance in utterances(audio))


def test_the_readings_are_those_of_what_was_said(told: Told, tmp_path: Path) -> None:
    """And so those of the files: see `test_demo_audio`."""
    assert logged(told.job) == typed(tmp_path / "job")


def test_the_own_voice_is_not_heard(told: Told) -> None:
    assert len(told.dictation.of("heard")) == ANSWERS
    # An independent ear on the same sink hears the read-backs too: after the outage more than half
    # as much again is spoken there as the answers alone are.
    spoken = voiced(Audio(told.recorder.samples))
    assert spoken > 1.5 * sum(voiced(load(path)) for path in answers()[KILLED_AT:])


def test_an_outage_is_said_and_survived(told: Told) -> None:
    states = [event["state"] for event in told.dictation.of("microphone")]
    ready = states.index("ready")
    # On a busy machine the level check may have to be made twice.
    assert states[0] == "open"
    assert set(states[1:ready]) == {"check"}
    # A restarting server or a long sleep may cost the stream twice; each time it comes back.
    outages = [state for state in states[ready:] if state in ("lost", "back")]
    assert outages
    assert outages == ["lost", "back"] * (len(outages) // 2)


def test_no_acknowledged_reading_is_lost_and_the_log_is_whole(told: Told) -> None:
    assert logged(told.job) == readings(told.dictation.events)
    assert verify(told.job).state == "open"
    assert told.status == 130  # ended by Ctrl-C


def test_times_count_the_microphone_s_clock(told: Told) -> None:
    """Utterances do not overlap, and none is later than the session was long."""
    heard = told.dictation.of("heard")
    times = [time for event in heard for time in (event["start"], event["end"])]
    assert times == sorted(times)
    assert times[-1] < heard[-1]["at"] - told.dictation.events[0]["at"] + 1
