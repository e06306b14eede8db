"""The live loop with a sound card and an engine that are stand-ins; nothing waits in real time."""

from __future__ import annotations

import itertools
import queue
from collections.abc import Callable, Iterator
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from by_hand import by_hand

from handsfree.dialogue import Dialogue
from handsfree.errors import Missing
from handsfree.events import Logged
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import data_folder, load_language
from handsfree.live import Live, Settings, Turns
from handsfree.live.verbosity import Verbosity, language_for
from handsfree.log import open_job, read, verify
from handsfree.log.opening import utc_now
from handsfree.plan import LoadedPlan
from handsfree.sound.audio import RATE, Samples, load
from handsfree.sound.blocks import BLOCK, Block
from handsfree.sound.card import Deaf, Lost, Message, Opened, Said
from handsfree.sound.endpoint import Utterance
from handsfree.sound.tones import tone
from handsfree.sound.voice import Voice

OPENED = Opened("headset", "headset", RATE, 1)
WORD = load(data_folder("demo_audio") / "low-beam" / "01-joe.flac").samples
VOICE = load(data_folder("demo_audio") / "low-beam" / "04-slt.flac").samples
"""The tool's voice: whatever it says, it sounds like this."""
BENCH_VOICE = Voice("bench", lambda text, speed: (VOICE, RATE))


class Bench:
    """A sound card that plays a scene: functions that yield messages, one after another.

    A breath is over as soon as it has been given; while it lasts the microphone hears it.
    """

    def __init__(self, *scene: Callable[[Bench], Iterator[Message]]) -> None:
        self.scene = scene
        self.breaths: dict[int, list[Samples]] = {}
        self.stopped: list[int] = []
        self.restarts = 0
        self.ended: queue.Queue[int] = queue.Queue()
        self.closed = False

    def messages(self) -> Iterator[Message]:
        yield OPENED
        for part in self.scene:
            yield from part(self)
        while not self.closed:
            with suppress(queue.Empty):
                yield Said(self.ended.get(timeout=0.05))

    def play(self, number: int, samples: Samples, rate: int) -> None:
        self.breaths.setdefault(number, []).append(samples)

    def end(self, number: int) -> None:
        self.ended.put(number)

    def stop(self, number: int) -> None:
        self.stopped.append(number)

    def restart(self) -> None:
        self.restarts += 1

    def close(self) -> None:
        self.closed = True

    def heard(self) -> Iterator[Message]:
        """The tool says something, and is heard by the microphone."""
        number = self.ended.get(timeout=20)
        yield from blocks(VOICE, speaking=True)
        yield Said(number)
        yield from blocks(np.zeros(RATE // 2, np.float32))


def blocks(samples: Samples, *, speaking: bool = False) -> Iterator[Block]:
    for start in range(0, len(samples) - BLOCK + 1, BLOCK):
        yield Block(samples[start : start + BLOCK], speaking=speaking, played=0.1 * speaking)


def listens(bench: Bench) -> Iterator[Message]:
    """The tool speaks."""
    yield from bench.heard()


def says(bench: Bench) -> Iterator[Message]:
    """The technician speaks, and the tool answers."""
    yield from blocks(np.pad(WORD, (RATE // 2, RATE)))
    yield from bench.heard()


def outage(bench: Bench) -> Iterator[Message]:
    yield Lost("no sound comes from the microphone")
    yield OPENED


class Ears:
    """Hears what it is told to have heard."""

    name = "bench"

    def __init__(self, *texts: str) -> None:
        self.texts = list(texts)
        self.heard: list[Utterance] = []

    def hear(self, utterance: Utterance, grammar: object, hint: str = "") -> Heard:
        self.heard.append(utterance)
        text = Heard.of_text(self.texts[len(self.heard) - 1])
        return Heard(text.hypotheses, start=utterance.start, end=utterance.end)

    guess = hear

    def prepare(self, grammar: object) -> None:
        """It needs none."""

    def give_up(self) -> None:
        """It hears at once."""


@pytest.fixture(scope="module")
def loaded() -> LoadedPlan:
    return by_hand("flap-actuator-5wire")


@cache
def dialogue(how: Verbosity = Verbosity.normal) -> Dialogue:
    return Dialogue(by_hand("flap-actuator-5wire").plan, language_for("en", how))


class Run:
    """One conversation from its first word to `finish`, and `yes`."""

    def __init__(
        self,
        folder: Path,
        loaded: LoadedPlan,
        bench: Bench,
        *texts: str,
        check: bool = False,
        turns: Turns | None = None,
        how: Verbosity = Verbosity.normal,
        clock: Callable[[], datetime] = utc_now,
    ) -> None:
        self.told: list[dict[str, Any]] = []
        bench.scene += (says,)  # yes, the job shall end
        self.bench, self.ears, self.folder = bench, Ears(*texts, "finish", "yes"), folder
        self.live = Live(bench, BENCH_VOICE, turns or Turns(), Settings(volume=100), self._tell)
        plan = loaded.text.encode()
        with self.live, open_job(folder, plan, title=loaded.plan.title, clock=clock) as log:
            job = Job(dialogue(how), log, self.live.follow, self.live.speak)
            self.live.run(job, self.ears, check=check)  # type: ignore[arg-type]

    def of(self, kind: str) -> list[dict[str, Any]]:
        return [event for event in self.told if event["event"] == kind]

    def _tell(self, logged: Logged) -> None:
        self.told.append(logged.as_dict())

    @property
    def states(self) -> list[str]:
        return [event["state"] for event in self.of("microphone")]


def test_a_conversation(tmp_path: Path, loaded: LoadedPlan) -> None:
    bench = Bench(listens, says, says, says)
    run = Run(tmp_path, loaded, bench, "twelve point six volts", "point oh two")
    assert [event["value"] for event in run.of("reading")] == [12.6, 0.02]
    assert len(run.ears.heard) == 4  # and not its own voice
    assert bench.closed
    assert run.states == ["open"]


def test_times_count_the_microphone_s_samples(tmp_path: Path, loaded: LoadedPlan) -> None:
    bench = Bench(listens, says, says)
    run = Run(tmp_path, loaded, bench, "twelve point six volts")
    spoken, pause = len(VOICE) // BLOCK * BLOCK, RATE // 2 // BLOCK * BLOCK
    first = (spoken + pause + RATE // 2) / RATE
    second = first + (len(WORD) + RATE + spoken + pause + RATE // 2) / RATE
    for utterance, begins in zip(run.ears.heard[:2], [first, second], strict=True):
        assert utterance.start == pytest.approx(begins, abs=0.4)  # a third of it is run-up
        assert len(utterance.samples) == round((utterance.end - utterance.start) * RATE)


def test_a_clock_that_jumps_changes_nothing(tmp_path: Path, loaded: LoadedPlan) -> None:
    """The wall clock is for the log alone: an hour back, a day forth, and so on."""
    jumps = itertools.cycle([0, -3600, 86_400])
    begin = datetime(2026, 3, 29, 0, 59, tzinfo=UTC)
    bench = Bench(listens, says, says)
    text = "twelve point six volts"
    run = Run(tmp_path, loaded, bench, text, clock=lambda: begin + timedelta(seconds=next(jumps)))
    first, second, _ = run.ears.heard
    assert 0 < first.start < first.end < second.start < 20
    assert verify(tmp_path).state == "finished"


def test_the_level_is_told_and_not_logged(tmp_path: Path, loaded: LoadedPlan) -> None:
    run = Run(tmp_path, loaded, Bench(listens, says, says), "twelve point six volts")
    levels = run.of("level")
    assert {level["turn"] for level in levels} == {"listening", "speaking"}
    assert any(level["speech"] and 0 < level["level"] < 1 for level in levels)
    assert "level" not in {event.kind for event in read(tmp_path)}


def test_tones_carry_the_verdict(tmp_path: Path, loaded: LoadedPlan) -> None:
    bench = Bench(listens, says, says, says, says, says)
    texts = "twelve point six volts", "three volts", "strike that", "eleven hundred volts"
    run = Run(tmp_path, loaded, bench, *texts)
    firsts = [breath[0] for _, breath in sorted(bench.breaths.items())]
    assert [event["outcome"] for event in run.of("reading")] == ["pass", "high"]
    assert run.of("asked")
    for first, name in zip(firsts[1:], ["in_range", "out_of_range", "", "asked"], strict=False):
        assert np.array_equal(first, tone(name)) if name else len(first) > RATE  # type: ignore[arg-type]


def test_volume_and_speed_by_voice(tmp_path: Path, loaded: LoadedPlan) -> None:
    bench = Bench(listens, says, says, says, says)
    said = load_language().wordings("command")
    commands = [said[f"command {name}"] for name in ("softer", "slower", "faster")]
    run = Run(tmp_path, loaded, bench, *commands)
    assert (run.live.mouth.settings.volume, run.live.mouth.settings.speed) == (85, 100)
    loud = [max(np.abs(breath[0])) for _, breath in sorted(bench.breaths.items())]
    assert loud[1] == pytest.approx(loud[0] / 2, rel=0.01)  # 15 percent are 6 dB


def test_an_outage_is_told_and_the_step_is_said_again(tmp_path: Path, loaded: LoadedPlan) -> None:
    bench = Bench(listens, says, outage, listens, listens, says, says)
    run = Run(tmp_path, loaded, bench, "twelve point six volts", "point oh two")
    assert run.states == ["open", "lost", "back"]
    assert len(run.of("reading")) == 2
    assert [e.fields["state"] for e in read(tmp_path) if e.kind == "microphone"] == ["lost", "back"]
    said = [event["text"] for event in run.of("said")]
    assert any(text.startswith("Again: Black with yellow stripe") for text in said)


def test_what_was_not_heard_to_its_end_is_said_again(tmp_path: Path, loaded: LoadedPlan) -> None:
    def dies_while_it_speaks(bench: Bench) -> Iterator[Message]:
        yield from blocks(np.pad(WORD, (RATE // 2, RATE)))
        bench.ended.get(timeout=20)
        yield from blocks(VOICE[: RATE // 2], speaking=True)
        yield from outage(bench)

    bench = Bench(listens, dies_while_it_speaks, listens, listens, says)
    run = Run(tmp_path, loaded, bench, "twelve point six volts", how=Verbosity.full)
    assert len(run.of("said")) == 4  # the start, the read-back, no verdict, the end
    # and "I hear you again", the read-back once more, and whether it shall end
    assert len(bench.breaths) == 7
    pieces = [len(breath) for _, breath in sorted(bench.breaths.items())]
    assert pieces[3] >= 4  # wire, value, verdict; the next step, and what to expect


def test_an_utterance_with_a_hole_is_dropped(tmp_path: Path, loaded: LoadedPlan) -> None:
    """Half a number is worse than none."""

    def hole(_: Bench) -> Iterator[Message]:
        middle = len(WORD) // 2
        yield from blocks(np.pad(WORD[:middle], (RATE // 2, 0)))
        yield Block(WORD[:BLOCK], lost=2 * RATE)
        yield from blocks(np.zeros(2 * RATE, np.float32))

    bench = Bench(listens, hole, says, says)
    run = Run(tmp_path, loaded, bench, "twelve point six volts")
    assert len(run.ears.heard) == 3
    (overrun,) = [event for event in run.of("microphone") if event["state"] == "overrun"]
    assert "2.00 s" in overrun["text"]
    assert run.ears.heard[0].start > (2 * RATE + RATE // 2) / RATE


def test_half_an_utterance_is_dropped_when_the_tool_speaks_into_it(
    tmp_path: Path, loaded: LoadedPlan
) -> None:
    def both(bench: Bench) -> Iterator[Message]:
        yield from blocks(np.pad(WORD, (RATE // 2, RATE)))
        number = bench.ended.get(timeout=20)
        yield from blocks(WORD[: len(WORD) // 2])
        yield from blocks(VOICE, speaking=True)
        yield Said(number)
        yield from blocks(np.zeros(RATE, np.float32))

    run = Run(tmp_path, loaded, Bench(listens, both, says), "twelve point six volts")
    assert len(run.ears.heard) == 3


def test_a_microphone_that_is_gone_is_said_aloud_once(tmp_path: Path, loaded: LoadedPlan) -> None:
    def unplugged(_: Bench) -> Iterator[Message]:
        yield Lost("no sound comes from the microphone")
        for _again in range(3):
            yield Deaf("no microphone: Invalid device", "Plug one in.", audible=True)

    bench = Bench(listens, unplugged, listens, lambda _: iter([OPENED]), listens, listens, says)
    run = Run(tmp_path, loaded, bench)
    assert run.states.count("back") == 1
    # start, it is gone, it is back, the step, the end?, no verdict, the end
    assert len(bench.breaths) == 7


def test_no_microphone_at_the_start_is_an_error(tmp_path: Path, loaded: LoadedPlan) -> None:
    class Deafened(Bench):
        def messages(self) -> Iterator[Message]:
            raise Missing("no microphone: Invalid device")

    with pytest.raises(Missing, match="Invalid device"):
        Run(tmp_path / "job", loaded, Deafened())
    assert not (tmp_path / "job").exists()


def test_the_level_check_asks_until_it_can_hear(tmp_path: Path, loaded: LoadedPlan) -> None:
    def whispers(bench: Bench) -> Iterator[Message]:
        yield from blocks(np.pad(WORD * np.float32(0.02), (RATE, RATE)))
        yield from bench.heard()

    def speaks(bench: Bench) -> Iterator[Message]:
        yield from blocks(np.pad(WORD, (RATE, RATE)))
        yield from bench.heard()

    run = Run(tmp_path, loaded, Bench(listens, whispers, speaks, says), check=True)
    ready = [event for event in run.of("microphone") if event["state"] == "ready"]
    assert [event["fault"] for event in ready] == ["quiet", None]
    assert run.states == ["open", "check", "ready", "check", "ready"]


def test_a_voice_that_fails_leaves_the_text(tmp_path: Path, loaded: LoadedPlan) -> None:
    def word(_: Bench) -> Iterator[Message]:
        yield from blocks(np.pad(WORD, (RATE, RATE)))

    bench = Bench(listens, word, word, word)

    def fail(text: str, speed: float) -> Any:
        raise Missing("the voice failed")

    told: list[dict[str, Any]] = []
    tell = lambda logged: told.append(logged.as_dict())  # noqa: E731
    live = Live(bench, Voice("bench", fail), Turns(), Settings(), tell)
    ears = Ears("twelve point six volts", "finish", "yes")
    with live, open_job(tmp_path, loaded.text.encode(), title="x") as log:
        job = Job(dialogue(), log, live.follow, live.speak)
        live.run(job, ears, check=False)  # type: ignore[arg-type]
    assert [e["value"] for e in told if e["event"] == "reading"] == [12.6]
    assert [e["state"] for e in told if e["event"] == "microphone"] == ["open", "mute"]


def test_short_leaves_the_verdict_to_the_tone(tmp_path: Path, loaded: LoadedPlan) -> None:
    bench = Bench(listens, says, says)
    run = Run(tmp_path, loaded, bench, "twelve point six volts", how=Verbosity.short)
    said = run.of("said")[1]["text"]
    assert "in range" not in said
    assert "Expect" not in said
    assert "twelve point six volts." in said


def test_the_key_lets_one_utterance_in_and_silences_the_voice(
    tmp_path: Path, loaded: LoadedPlan
) -> None:
    """Without a press nothing is heard; a press during a long prompt cuts it off."""
    press: list[Callable[[], None]] = []

    def chatter(_: Bench) -> Iterator[Message]:
        yield from blocks(np.pad(WORD, (RATE, RATE)))

    def pressed(bench: Bench) -> Iterator[Message]:
        press[0]()
        yield from says(bench)

    def pressed_while_it_speaks(bench: Bench) -> Iterator[Message]:
        press[0]()
        yield from blocks(np.pad(WORD, (RATE // 2, RATE)))
        number = bench.ended.get(timeout=20)
        yield from blocks(VOICE, speaking=True)
        press[0]()
        yield Said(number)
        yield from says(bench)

    bench = Bench(listens, chatter, pressed, chatter, pressed_while_it_speaks, pressed)
    told: list[dict[str, Any]] = []
    tell = lambda logged: told.append(logged.as_dict())  # noqa: E731
    live = Live(bench, BENCH_VOICE, Turns(key=True), Settings(), tell)
    press.append(live.press)
    ears = Ears("twelve point six volts", "what is expected", "finish", "yes")
    with live, open_job(tmp_path, loaded.text.encode(), title=loaded.plan.title) as log:
        job = Job(dialogue(), log, live.follow, live.speak)
        live.run(job, ears, check=False)  # type: ignore[arg-type]
    assert len(ears.heard) == 4
    assert 3 in bench.stopped
    assert [e["state"] for e in told if e["event"] == "microphone"] == ["open", "cut"]
    assert "waiting" in {e["turn"] for e in told if e["event"] == "level"}
