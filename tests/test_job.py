"""Dialogue, log and voice together, typed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from by_hand import by_hand

from handsfree.dialogue import Dialogue
from handsfree.events import Logged, ReadingTaken, UtteranceHeard
from handsfree.grammar import Language
from handsfree.heard import Heard, Hypothesis
from handsfree.job import Job
from handsfree.languages import data_folder
from handsfree.log import JobRecord, open_job, read, rows, verify
from handsfree.plan import LoadedPlan
from handsfree.sound.endpoint import Utterance
from handsfree.sound.recordings import Captured, recorded

SESSION = """\
twelve point six volts
point oh two
correction point oh three
violet four point nine eight
point six one
strike that
point six two
point six
dead
ground
ground
battery voltage
note the seal is torn
four volts
over limit
four nine
the second
one point two k
it turns
yes
repair done
point six one
two point five
four point four
yes
yes
no
""".splitlines()


@pytest.fixture(scope="module")
def loaded() -> LoadedPlan:
    return by_hand("flap-actuator-5wire")


@pytest.fixture(scope="module")
def dialogue(loaded: LoadedPlan, english: Language) -> Dialogue:
    return Dialogue(loaded.plan, english)


class Bench:
    """A job in a folder, with what it told and what it spoke."""

    def __init__(self, folder: Path, loaded: LoadedPlan, dialogue: Dialogue) -> None:
        self.told: list[Logged] = []
        self.spoken: list[str] = []
        self.log = open_job(folder, loaded.text.encode(), title=loaded.plan.title)
        self.job = Job(dialogue, self.log, self.told.append, self._speak)

    def _speak(self, text: str) -> None:
        last = self.log.lines[-1]
        assert last.fields["text"] == text  # it is on the disk before it is heard
        self.spoken.append(text)

    def close(self) -> None:
        self.log.close()


def test_a_whole_session(tmp_path: Path, loaded: LoadedPlan, dialogue: Dialogue) -> None:
    bench = Bench(tmp_path / "job", loaded, dialogue)
    bench.job.begin()
    for text in SESSION:
        bench.job.hear(Heard.of_text(text), b"fLaC sound")
    bench.close()
    assert bench.job.finished
    assert verify(tmp_path / "job").state == "finished"
    kinds = [logged.kind for logged in bench.told]
    assert {"heard", "reading", "asked", "said", "step", "note", "struck", "verdict"} <= set(kinds)
    assert kinds[-1] == "finished"
    events = JobRecord.read(tmp_path / "job").events
    assert len(rows(events)) == 20
    everything = rows(events, history=True)
    assert sum(row["superseded_by"] is not None for row in everything) == 1
    assert sum(row["struck_by"] is not None for row in everything) == 1
    assert all(row["clip"] for row in everything)


def heard_in(folder: Path) -> list[tuple[str, str]]:
    """Each reading with the text of the utterance that its line names."""
    events = JobRecord.read(folder).events
    texts = {e.seq: e.event.text for e in events if isinstance(e.event, UtteranceHeard)}
    clips = {e.seq: e.clip for e in events}
    found = []
    for one in events:
        if isinstance(one.event, ReadingTaken):
            heard = one.fields["heard"]
            assert isinstance(heard, int)
            assert one.clip == clips[heard]
            found.append((one.event.entry.step, texts[heard]))
    return found


@pytest.mark.parametrize("anew", [False, True], ids=["at once", "taken up again"])
def test_the_sound_of_a_value_is_that_in_which_it_was_said(
    tmp_path: Path, loaded: LoadedPlan, dialogue: Dialogue, anew: bool
) -> None:
    """And not that of "yes"; values of one breath have one sound."""
    folder, both = tmp_path / "job", "sensor ground point oh two, violet four nine eight"
    bench = Bench(folder, loaded, dialogue)
    bench.job.begin()
    said = [("one two six", ""), ("mumble", ""), ("the second", ""), (both, "ear")]
    again = "violet four nine seven"
    for text, engine in [*said, (again, "ear"), ("yes", "ear"), ("point six", "")]:
        if anew:
            bench.close()
            bench = Bench(folder, loaded, dialogue)
        bench.job.hear(Heard((Hypothesis(text),), engine=engine or "text"), f"fLaC {text}".encode())
    bench.close()
    assert heard_in(folder) == [
        ("battery_voltage", "one two six"),
        ("sensor_ground", both),
        ("reference", again),
        ("feedback_cold", "point six"),
    ]


def test_a_job_goes_on_wherever_it_stopped(
    tmp_path: Path, loaded: LoadedPlan, dialogue: Dialogue
) -> None:
    """A new process after every utterance comes to the same log as one process."""
    folder = tmp_path / "job"
    for index, text in enumerate(SESSION):
        bench = Bench(folder, loaded, dialogue)
        if index == 0:
            bench.job.begin()
        bench.job.hear(Heard.of_text(text))
        bench.close()
    assert verify(folder).state == "finished"
    assert len(rows(JobRecord.read(folder).events)) == 20


def test_restored_sessions_are_equal(
    tmp_path: Path, loaded: LoadedPlan, dialogue: Dialogue
) -> None:
    bench = Bench(tmp_path / "job", loaded, dialogue)
    bench.job.begin()
    for text in SESSION:
        bench.job.hear(Heard.of_text(text))
        assert JobRecord.read(tmp_path / "job").session == bench.job.session
    bench.close()


def test_what_is_said_first_when_a_job_goes_on(
    tmp_path: Path, loaded: LoadedPlan, dialogue: Dialogue
) -> None:
    first = Bench(tmp_path / "job", loaded, dialogue)
    first.job.begin()
    first.job.hear(Heard.of_text("twelve six"))
    first.close()
    second = Bench(tmp_path / "job", loaded, dialogue)
    second.job.begin()
    second.close()
    assert second.spoken == [
        "Going on at step two of eighteen: Black with yellow stripe, ignition on. "
        "Expect minus zero point one volts to zero point one volts."
    ]


class Counting:
    """An engine that counts what it decodes."""

    decoded = 0

    def hear(self, utterance: Utterance, grammar: object, hint: str = "") -> Heard:
        self.decoded += 1
        return Heard.of_text("twelve point six volts")


def test_what_was_decoded_in_the_pause_is_not_decoded_again(
    tmp_path: Path, loaded: LoadedPlan, dialogue: Dialogue
) -> None:
    bench, ears = Bench(tmp_path / "job", loaded, dialogue), Counting()
    bench.job.begin()
    first, second = (Utterance(np.zeros(10, np.float32), start, start + 1) for start in (0.0, 2.0))
    for utterance in (first, second):
        bench.job.recognise(ears, utterance)  # type: ignore[arg-type]
        bench.job.listen(ears, Captured(utterance, "microphone", "microphone"))  # type: ignore[arg-type]
    assert ears.decoded == 2
    other = Utterance(np.ones(10, np.float32), 2.0, 3.0)  # of another recording, at the same time
    bench.job.recognise(ears, other)  # type: ignore[arg-type]
    bench.close()
    assert ears.decoded == 3


def test_a_file_named_microphone_does_not_pass_as_one(
    tmp_path: Path, loaded: LoadedPlan, dialogue: Dialogue
) -> None:
    class Ears:
        name = "typed"

        def hear(self, *_: object) -> Heard:
            return Heard.of_text("twelve six")

    recording = tmp_path / "microphone"
    word = sorted((data_folder("demo_audio") / "low-beam").glob("*.flac"))[0]
    recording.write_bytes(word.read_bytes())
    bench = Bench(tmp_path / "job", loaded, dialogue)
    with bench.log:
        bench.job.begin()
        for sound in recorded([recording]):
            bench.job.listen(Ears(), sound)  # type: ignore[arg-type]
    heard = [line for line in read(tmp_path / "job") if line.kind == "heard"]
    assert {(line.fields["source"], line.fields["via"]) for line in heard} == {
        ("microphone", "file")
    }
