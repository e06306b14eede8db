"""Listening as the product does: endpointer, engine, grammar of the moment; each once.

What was heard is kept in a file of JSON lines under a key of sound, grammar and engine, so
that a bench that was stopped goes on where it was, and thresholds are compared without
decoding anything again.
"""

from __future__ import annotations

import hashlib
import json
import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import handsfree
from handsfree.dialogue import Session
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.enrolled import Enrolled
from handsfree.grammar import Automaton
from handsfree.grammar.text import parse_text
from handsfree.heard import Heard, Hypothesis
from handsfree.languages import data_folder
from handsfree.sound.audio import RATE, Samples
from handsfree.sound.endpoint import FRAME, Endpointer, Utterance
from handsfree.words import Transcriber
from handsfree.words.ear import Wordings
from handsfree.words.pace import in_time
from handsfree.words.recogniser import Recogniser, Recognition
from handsfree.words.together import Together, combined

from .front_ends import FRONT_ENDS
from .trials import Stream, Trial

#: Start, end, moment of closing, true end of speech, and speech in it: seconds of an utterance.
Cut = tuple[float, float, float, float, float]


@dataclass(frozen=True, slots=True)
class Listened:
    """One utterance that was heard.

    Attributes:
        heard: what the engine made of it.
        closed: seconds of the stream at which the endpointer closed it.
        spoken: seconds at which the speech really ended.
        wall, cpu: seconds of decoding, by the clock and by the processor.
    """

    heard: Heard
    closed: float
    spoken: float
    wall: float
    cpu: float

    @property
    def beyond(self) -> float:
        """Seconds from the closing of the utterance to the result; decoding begins before it."""
        return max(self.heard.end + self.wall - self.closed, 0.0)

    @property
    def delay(self) -> float:
        """Seconds from the end of the speech to the result."""
        return self.closed - self.spoken + self.beyond


class Records:
    """Results under keys, in files of JSON lines; every process writes its own.

    Args:
        folder: of the files.
    """

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._found: dict[str, Any] = {}
        for path in sorted(folder.glob("*.jsonl")):
            for line in path.read_text(encoding="utf-8").splitlines():
                try:
                    entry = json.loads(line)
                except ValueError:
                    continue  # the last line of a process that was killed
                self._found[entry["key"]] = entry["value"]
        self._path = folder / f"{os.getpid()}.jsonl"

    def __contains__(self, name: str) -> bool:
        return _key(name) in self._found

    def get(self, name: str, make: Callable[[], Any]) -> Any:
        """The value of that name, made and kept if it is not there yet."""
        key = _key(name)
        if key not in self._found:
            self._found[key] = make()
            with self._path.open("a", encoding="utf-8") as file:
                file.write(json.dumps({"key": key, "value": self._found[key]}) + "\n")
        return self._found[key]


def _key(name: str) -> str:
    return hashlib.sha256(name.encode()).hexdigest()[:32]


def fingerprint() -> str:
    """Changes with everything that what is heard depends on."""
    package, bench = Path(handsfree.__file__).parent, Path(__file__).parent
    files = [
        *sorted(path for path in (package / "words").glob("*.py") if path.stem not in _REPLAYED),
        *sorted((package / "words").glob("*.npz")),
        *sorted((package / "grammar").glob("*.py")),
        package / "sound" / "endpoint.py",
        *sorted(path for path in (data_folder("grammars") / "en").iterdir() if path.is_file()),
        *(
            bench / f"{name}.py"
            for name in ("noise", "rooms", "levels", "trials", "human", "strangers", "channels")
        ),
    ]
    digest = hashlib.sha256()
    for path in files:
        digest.update(path.read_bytes())
    return digest.hexdigest()[:12]


#: What is done anew with what was heard: a change of it needs no decoding.
_REPLAYED = ("together", "pace")


class Listener:
    """Hears trials with one engine, each once.

    Args:
        engine: as in `handsfree hear --engine`.
        model: folder of its model, or None.
        records: what was heard before.
        front_end: what is done to the sound first.

    Attributes:
        enrolled: what is known of the voice that is heard; None if nothing is.
    """

    def __init__(
        self, engine: str, model: Path | None, records: Records, front_end: str = "plain"
    ) -> None:
        self._engine, self._model, self._records = engine, model, records
        self._front_end = front_end
        self._ears: Transcriber | None = None
        self.enrolled: Enrolled | None = None

    @property
    def ears(self) -> Transcriber:
        """The engine."""
        if self._ears is None:
            self._ears = Transcriber(self._engine, self._model)
        return self._ears

    def knows(self, key: str) -> bool:
        """Whether the sound of that key was heard before."""
        return f"cuts {key}" in self._records

    def listen(self, trial: Trial, text: str, take: int) -> Iterator[Ear]:
        """The utterances that the endpointer cuts out when `text` is said."""
        key = trial.key(text, take)
        yield from self.ears_of(key, lambda: trial.say(text, take))

    def ears_of(self, key: str, make: Callable[[], Stream]) -> Iterator[Ear]:
        """The utterances of a stream, which is only made if need be."""
        stream: list[Stream] = []

        def sound() -> Stream:
            if not stream:
                stream.append(make())
            return stream[0]

        cuts = self._records.get(f"cuts {key}", lambda: cut(sound()))
        for cut_out in cuts:
            yield Ear(self, key, sound, *cut_out)

    def heard(self, ear: Ear, desk: Desk, session: Session) -> Listened:
        """What the engine makes of an utterance where the dialogue stands."""
        step = desk.focus(session)
        place = f"{desk.plan.title} {step.id if step else ''} {session.moment}"

        def decode() -> Any:
            samples = ear.sound().samples[round(ear.start * RATE) : round(ear.end * RATE)]
            samples = FRONT_ENDS[self._front_end](samples)
            grammar, engine = desk.spoken.automaton(step, session.moment), self.ears.recogniser
            wall, cpu = time.perf_counter(), time.process_time()
            found = _told(engine, samples, grammar, desk.wording.hint)
            return [found, time.perf_counter() - wall, time.process_time() - cpu]

        before = "" if self._front_end == "plain" else f"{self._front_end} "
        name = f"heard {before}{ear.key} {ear.start} {ear.end} {place}"
        found, wall, cpu = self._records.get(name, decode)
        engine = self.ears.recogniser
        result = _judged(found)
        if result.hypotheses:
            result = in_time(result, ear.voiced, engine.pace)
        heard = Heard(
            result.hypotheses,
            result.confidence,
            ear.start,
            ear.end,
            self._engine,
            engine.numbers_trusted,
            calibration=engine.calibration,
        )
        if self.enrolled:
            grammar = desk.spoken.automaton(step, session.moment)
            heard = self.enrolled.corrected(heard, lambda text: bool(parse_text(grammar, text)))
        return Listened(heard, ear.closed, ear.spoken, wall, cpu)


def _told(engine: Recogniser, samples: Samples, grammar: Automaton, hint: str) -> Any:
    """What an engine makes of an utterance; of two that judge together, what each does.

    So the weights of the two are compared without decoding anything again.
    """
    if isinstance(engine, Together):
        both = engine.both(samples, grammar, hint)
        return [[w.sentences, w.outside] for w in both]
    heard = engine.recognise(samples, grammar, hint)
    return {"said": {h.text: h.score for h in heard.hypotheses}, "confidence": heard.confidence}


def _judged(found: Any) -> Recognition:
    if isinstance(found, list):
        one, two = (Wordings(*wordings) for wordings in found)
        return combined((one, two)).recognition()
    said = tuple(Hypothesis(text, score) for text, score in found["said"].items())
    return Recognition(said, found["confidence"])


@dataclass(frozen=True, slots=True)
class Ear:
    """An utterance that is to be heard."""

    listener: Listener
    key: str
    sound: Callable[[], Stream]
    start: float
    end: float
    closed: float
    spoken: float
    voiced: float

    def hear(self, desk: Desk, session: Session) -> Listened:
        """See `Listener.heard`."""
        return self.listener.heard(self, desk, session)


def cut(stream: Stream) -> list[Cut]:
    """The utterances as the endpointer cuts them out."""
    endpointer = Endpointer()
    found: list[Cut] = []
    samples: Samples = stream.samples
    for at in range(0, len(samples), FRAME):
        for utterance in endpointer.feed(samples[at : at + FRAME]):
            closed = min(at + FRAME, len(samples)) / RATE
            found.append(_cut(utterance, closed, stream.spoken))
    end = len(samples) / RATE
    return found + [_cut(u, end, stream.spoken) for u in endpointer.flush()]


def _cut(utterance: Utterance, closed: float, spoken: float) -> Cut:
    return utterance.start, utterance.end, closed, spoken, utterance.voiced or 0.0
