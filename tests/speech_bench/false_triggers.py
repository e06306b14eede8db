"""What is done although nobody spoke to the tool: in noise, and while others talk."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from handsfree.events import Asked, Spoke, UtteranceHeard
from handsfree.meaning import Unclear
from handsfree.sound.audio import RATE, Samples, load

from . import noise
from .conditions import SHOP
from .hearing import Listener
from .human import unrelated
from .levels import at_level, noise_at
from .midway import midway
from .phrases import PLANS, Split, dialogue
from .trials import SPEECH_LEVEL, Stream

#: Length of one piece; each is heard at a step of its own.
PIECE = 30.0


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of sound in which nobody speaks to the tool."""

    kind: str
    name: str
    seconds: float
    seed: int
    split: Split
    path: Path | None = None

    def make(self) -> Stream:
        """The sound; it ends in a pause so that the last utterance is closed."""
        if self.kind.endswith("noise"):
            kind = SHOP[self.seed % len(SHOP)]
            sound = noise_at(noise.make(kind, self.seed, self.seconds, self.split), SPEECH_LEVEL)
        elif self.path is None:
            talk = noise.talking(random.Random(self.seed), self.seconds, self.split)
            sound = at_level(talk[: int(self.seconds * RATE)], SPEECH_LEVEL)
        else:
            sound = at_level(load(self.path).samples, SPEECH_LEVEL)
        pause: Samples = np.zeros(RATE, np.float32)
        return Stream(np.concatenate([sound, pause]), len(sound) / RATE)


@dataclass(frozen=True, slots=True)
class Triggers:
    """What a piece set off.

    Attributes:
        kind: noise, speech or human speech; with "paused" where only wake words count.
        seconds: of sound.
        acts: times that something was done: logged, struck, moved, noted, woken.
        questions: times that the tool asked what was meant, or said what can be said.
        what: texts that were acted on.
    """

    kind: str
    seconds: float
    acts: int
    questions: int
    what: tuple[str, ...] = ()


def pieces(split: Split, minutes: float) -> list[Piece]:
    """So many minutes of noise, and of speech; the same again while paused."""
    count = max(1, round(minutes * 60 / PIECE))
    base = 0 if split == "tune" else 1_000_000
    found = [Piece("noise", f"noise {n}", PIECE, base + n, split) for n in range(count)]
    found += [Piece("speech", f"speech {n}", PIECE, base + n, split) for n in range(count)]
    length = 0.0
    recordings = unrelated(split)
    random.Random(f"recordings {split}").shuffle(recordings)
    for number, path in enumerate(recordings):
        if length >= minutes * 60:
            break
        seconds = load(path).seconds
        length += seconds
        found.append(Piece("human speech", path.name, seconds, base + number, split, path))
    return found


def triggers(piece: Piece, listener: Listener, *, paused: bool) -> Triggers:
    """What a piece sets off at a step drawn for it."""
    rng = random.Random(f"{piece.split} {piece.kind} {piece.name}")
    talk = dialogue(rng.choice(PLANS))
    step = rng.choice(talk.desk.plan.steps)
    fresh = replace(midway(step), paused=paused)
    acts = questions = 0
    what: list[str] = []
    session = fresh
    for ear in listener.ears_of(f"{piece.kind} {piece.name} {piece.split}", piece.make):
        listened = ear.hear(talk.desk, session)
        response = talk.respond(session, listened.heard)
        done = [e for e in response.events if not isinstance(e, Asked | Spoke | UtteranceHeard)]
        said = [e for e in response.events if isinstance(e, Spoke)]
        unclear = response.understood and isinstance(response.understood.meaning, Unclear)
        if any(isinstance(e, Asked) for e in response.events) or (unclear and not done and said):
            questions += 1
            session = replace(fresh, misses=response.session.misses)
        elif done or said or response.session != session:
            acts += 1
            what.append(listened.heard.text)
            session = fresh
    kind = f"{piece.kind}, paused" if paused else piece.kind
    return Triggers(kind, piece.seconds, acts, questions, tuple(what))


def by_kind(found: list[Triggers]) -> Iterator[tuple[str, float, int, int]]:
    """Kind, seconds, acts and questions of all pieces of a kind."""
    for kind in dict.fromkeys(t.kind for t in found):
        some = [t for t in found if t.kind == kind]
        yield (
            kind,
            sum(t.seconds for t in some),
            sum(t.acts for t in some),
            sum(t.questions for t in some),
        )
