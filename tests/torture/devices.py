"""What breaks beside the log: the recogniser in its process, the sound card."""

from __future__ import annotations

import atexit
import functools
import random
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from handsfree.events import Logged
from handsfree.job import Job
from handsfree.live import Live, Settings, Turns
from handsfree.log import open_job, verify
from handsfree.sound.audio import RATE, load
from handsfree.sound.blocks import Block
from handsfree.sound.card import Deaf, Lost, Message
from handsfree.sound.recordings import Captured
from handsfree.words import Transcriber, apart
from handsfree.words.apart import Apart
from tests.frail_engines import Frail, utterance
from tests.torture.dictation import DIALOGUE, LOADED, SAID, Outcome
from tests.torture.left import all_there, need

sys.path.insert(0, str(Path(__file__).parents[1]))
import test_live_loop as live

WAYS = ("crash", "kill", "hang", "eat", "raise", "leave")
TEXTS = (*SAID, *WAYS)


@functools.cache
def _ears() -> Transcriber:
    apart.ANSWERS_WITHIN = 1.0
    ears = Transcriber.__new__(Transcriber)
    ears.recogniser = engine = Apart(functools.partial(Frail, *TEXTS))
    atexit.register(engine.close)
    return ears


def _dictated(job: Path, texts: list[str]) -> tuple[Outcome, list[str]]:
    """What was told, and the readings."""
    told = list[Logged]()
    with open_job(job, LOADED.text.encode(), title=LOADED.plan.title) as log:
        session = Job(DIALOGUE, log, told.append, lambda _: None)
        session.begin()
        for at, text in enumerate(texts):
            sound = utterance(TEXTS.index(text), start=at)
            session.listen(_ears(), Captured(sound, "typed", "file"))
    events = tuple(logged.as_dict() for logged in told)
    return Outcome(events, 0, ""), [e.figures for e in session.session.entries]


def recogniser_breaks(folder: Path, rng: random.Random) -> None:
    """It crashes, hangs or eats memory over one utterance or two; those are kept as sound."""
    texts = list(SAID)
    for way in rng.sample(WAYS, rng.choice((1, 1, 2))):
        texts.insert(rng.randrange(len(texts) + 1), way)
    outcome, readings = _dictated(folder / "job", texts)
    all_there(folder / "job", outcome)
    _, undisturbed = _dictated(folder / "undisturbed", list(SAID))
    need(readings == undisturbed, f"{readings} in place of {undisturbed}")
    heard = [event for event in outcome.told if event["event"] == "heard"]
    need(len(heard) == len(texts), "an utterance is gone")
    for text, event in zip(texts, heard, strict=True):
        if text in WAYS:
            why = str(event["meaning"].get("reason"))
            need(why.startswith("the recogniser "), f"{text}: {why}")
            clip = load(folder / "job" / event["clip"]).samples
            kept = np.allclose(clip, utterance(TEXTS.index(text)).samples, atol=1e-4)
            need(kept, f"{text}: another sound is kept")


def sound_is_gone(folder: Path, rng: random.Random) -> None:
    """The sound card is lost before, within or after an utterance, and comes back."""

    def gone(bench: live.Bench) -> Iterator[Message]:
        yield Lost("no sound comes from the microphone")
        for _ in range(rng.choice((0, 0, 1, 3))):
            yield Deaf("no microphone: Invalid device", "Plug one in.", audible=False)
        yield live.OPENED
        yield from bench.heard()  # I hear you again

    def within(bench: live.Bench) -> Iterator[Message]:
        cut = rng.randrange(RATE // 4, len(live.WORD) - RATE // 4)
        yield from live.blocks(np.pad(live.WORD[:cut], (RATE // 2, 0)))
        yield from gone(bench)

    def hole(_: live.Bench) -> Iterator[Message]:
        yield Block(np.zeros(512, np.float32), lost=rng.randrange(1, 20 * RATE))

    texts = rng.sample(("twelve point six volts", "point oh two", "what is expected"), 2)
    scene = [live.listens]
    for _ in texts:
        if rng.random() < 0.7:
            scene.append(rng.choice((gone, within, hole)))
            if scene[-1] is not hole:
                scene.append(live.listens)  # the step once more
        scene.append(live.says)
    bench = live.Bench(*scene, live.says, live.says)
    told: list[dict[str, Any]] = []
    tell = lambda logged: told.append(logged.as_dict())  # noqa: E731
    ears = live.Ears(*texts, "finish", "yes")
    conversation = Live(bench, live.BENCH_VOICE, Turns(), Settings(), tell)
    with conversation, open_job(folder / "job", LOADED.text.encode(), title="x") as log:
        job = Job(DIALOGUE, log, conversation.follow, conversation.speak)
        conversation.run(job, ears, check=False)  # type: ignore[arg-type]
    logged = tuple(event for event in told if event.get("seq"))
    need(verify(folder / "job").state == "finished", "it did not end")
    by_seq = {line.seq: line.as_dict() for line in live.read(folder / "job")}
    for event in logged:
        need(by_seq.get(event["seq"]) == event, f"event {event['seq']} is gone")
    heard = [event["text"] for event in logged if event["event"] == "heard"]
    need(heard == [*texts, "finish", "yes"], f"heard {heard}")
