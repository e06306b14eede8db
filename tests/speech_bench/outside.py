"""Speech that is no reading and no command: denied, vague, asked, broken off, talk, single words.

Whatever the tool does with it, it may log nothing and obey nothing, and it may not ask about a
value that nobody offered.  The tuning split is made of sentences of the grammar by denying,
hedging, asking and breaking them off, and of talk; the held-out split was written down by
somebody who had not seen the grammar (tests/data/phrasings/outside.yaml).
"""

from __future__ import annotations

import random
import zlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Literal, Protocol

import yaml

from handsfree.dialogue import Response as Answer
from handsfree.dialogue import Session
from handsfree.events import Asked, ReadingTaken, Spoke, UtteranceHeard
from handsfree.meaning import Aside, Command, SetCondition, Unclear
from handsfree.plan.schema import Plan

from .conditions import CONDITIONS
from .hearing import Listener
from .midway import midway
from .phrases import PLANS, Split, dialogue, phrases
from .trials import Stream, in_turn, under
from .voices import Manner, Voice, installed, speak

Kind = Literal["negated", "hedged", "asked", "cut", "talk", "word"]

HELD_OUT = Path(__file__).parent.parent / "data" / "phrasings" / "outside.yaml"
#: Sentences of the tuning split.
COUNT = 2000
_SHARES: dict[Kind, float] = {
    "negated": 0.2, "hedged": 0.15, "asked": 0.2, "cut": 0.15, "talk": 0.2, "word": 0.1,
}  # fmt: skip

_NEGATED = (
    "no {}", "not {}", "it's not {}", "that's not {}", "there is no {}", "there's no {} there",
    "i don't have {}", "i don't see {}", "isn't {}", "never {}", "it can't be {}",
    "no way that's {}", "not quite {}", "nowhere near {}", "we don't get {} here",
    "that was not {}", "without {}",
)  # fmt: skip
_HEDGED = (
    "about {}", "almost {}", "nearly {}", "around {}", "roughly {}", "maybe {}", "just under {}",
    "a bit over {}", "something like {}", "i guess {}", "could be {}", "{} or so",
    "{} more or less", "close to {}", "not sure maybe {}", "probably {}",
    "up to {}", "at least {}",
)  # fmt: skip
_ASKED = (
    "is it {}", "is that {}", "should it be {}", "it should be {}", "supposed to be {}",
    "is {} right", "do you want {}", "was it {}", "it was {} before", "expected {}", "why {}",
    "how come {}", "what if it is {}", "did i say {}", "you mean {}", "i thought it was {}",
    "wasn't it {}", "would {} be okay", "tell me when it is {}", "yesterday it read {}",
)  # fmt: skip
_ASKED_COMMANDS = (
    "should i {}", "did you say {}", "do i have to {}", "can i {} later", "don't {}", "do not {}",
    "i don't want to {}", "not {} yet", "when do we {}", "why would i {}", "he said {}",
)  # fmt: skip
_TALK = (
    "hold the light for me will you", "who took my good pliers", "what time are you off today",
    "i need another cup of coffee", "that was two hundred quid last time", "she called at nine",
    "put it on the second shelf", "the other van is due on friday", "can you move that trolley",
    "they want it back by four", "five of them are still in the box", "give me a second mate",
    "this seat is in the way", "mind your head", "the boss is looking for you",
    "it's been raining since ten", "open the big door please", "next week i'm on holiday",
    "we finish early on fridays", "go back and lock the gate", "skip is full again",
    "is the kettle on", "turn that radio down", "the ground is wet out there",
    "my back is killing me", "where did the torch go", "i'll ring him after lunch",
    "it's a nightmare to get at", "these screws are rubbish", "just look at the state of that",
    "the battery in my phone is flat", "no power tools after eight", "he's only been here a month",
    "that'll be forty five pounds", "did you order the seals", "one more and we're done for today",
    "she's got the black one parked outside", "i left the brown folder in the office",
    "the first one was cheaper", "the second hand on that clock sticks", "wait for me outside",
    "twelve people asked me that", "six months ago it was fine", "point me to the toilet",
    "there's a note on the windscreen", "repeat customers are the best", "louder than my old car",
    "nice and easy does it", "pass me a rag", "what a state", "i can't see a thing down here",
    "yes boss on my way", "no thanks i've just had one", "see you on monday",
    "they never fit first time", "that's what he told me", "somebody has been in here before",
    "he wants it white not violet", "pause the music please", "step over the cable",
)  # fmt: skip
_WORDS = (
    "house", "happy", "bird", "bed", "cat", "dog", "wow", "sheila", "marvin", "tree", "okay",
    "right", "alright", "well", "so", "hmm", "uh", "um", "thanks", "please", "hello", "sorry",
    "cheers", "mate", "damn", "great", "good", "nice", "sure", "really", "later", "there", "here",
    "up", "down", "left", "off", "on", "start", "go", "wait", "come on", "oh well", "oh dear",
    "let's see", "let me see", "one moment", "hang on", "look", "listen", "spanner", "hammer",
    "lunch", "monday", "window", "water", "paper", "money", "yellow page", "apple", "music", "car",
    "truck", "engine", "wheel", "tyre", "bolt", "screw", "torch", "rag", "and", "but", "the", "hey",
    "whoa", "ouch", "bless you", "good morning", "no worries", "never mind", "what", "why not",
    "who", "forget it", "ready", "maybe", "anyway", "actually", "basically", "finally", "exactly",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Outside:
    """Something said that is neither a reading nor a command.

    Attributes:
        number: within its split, from 0.
        split: tune or held-out.
        kind: negated, hedged, asked, cut, talk or word.
        text: the words.
        plan, step: the shipped plan and the open step at which it is said.
    """

    number: int
    split: Split
    kind: Kind
    text: str
    plan: str
    step: str

    def scene(self, plan: Plan) -> Session | None:
        """Where it is said; None where it is an answer after all: "ready", if that is asked for."""
        step = plan.step(self.step)
        if self.text in (name for answer in step.measure.options or () for name in answer.names):
            return None
        return Session(step=step.id, condition=step.condition, phase=step.phase)


@cache
def outside(split: Split, limit: int | None = None) -> tuple[Outside, ...]:
    """The first sentences of a split, kinds mixed, each at a step drawn for it."""
    rng = random.Random(f"outside {split}")
    texts = list(_tuning(rng)) if split == "tune" else _held_out()
    rng.shuffle(texts)
    found = []
    for number, (kind, text) in enumerate(texts[:limit]):
        plan = rng.choice(PLANS)
        step = rng.choice(dialogue(plan).desk.plan.steps)
        found.append(Outside(number, split, kind, text, plan, step.id))
    return tuple(found)


def _held_out() -> list[tuple[Kind, str]]:
    items = yaml.safe_load(HELD_OUT.read_text(encoding="utf-8"))
    return [(item["kind"], item["said"]) for item in items]


def _tuning(rng: random.Random) -> Iterator[tuple[Kind, str]]:
    values = [p.text for p in phrases("tune") if p.is_value and p.kind != "correct"]
    commands = [p.text for p in phrases("tune") if p.kind == "command" and p.before == "nothing"]
    seen: set[str] = set()
    for kind, share in _SHARES.items():
        left, tries = round(share * COUNT), 0
        while left and tries < 100_000:
            tries += 1
            text = _made(kind, values, commands, rng)
            if text and (text not in seen or kind in ("talk", "word")):
                seen.add(text)
                left -= 1
                yield kind, text


def _made(kind: Kind, values: list[str], commands: list[str], rng: random.Random) -> str:
    match kind:
        case "negated":
            return rng.choice(_NEGATED).format(rng.choice(values))
        case "hedged":
            return rng.choice(_HEDGED).format(rng.choice(values))
        case "asked":
            if rng.random() < 0.3:
                return rng.choice(_ASKED_COMMANDS).format(rng.choice(commands))
            return rng.choice(_ASKED).format(rng.choice(values))
        case "cut":
            return _cut(rng.choice(values), rng)
        case "talk":
            return rng.choice(_TALK)
        case "word":
            return rng.choice(_WORDS)


def _cut(text: str, rng: random.Random) -> str:
    """Broken off so that no value is complete: after a wire, a link or a decimal point."""
    words = text.split()
    marks = {"point", "decimal", "dot", "is", "reads", "at", "has", "shows", "minus", "with", "and"}
    places = [i + 1 for i, word in enumerate(words[:-1]) if word in marks]
    return " ".join(words[: rng.choice(places)]) if places else ""


class Overheard(Protocol):
    """An utterance that is neither a reading nor a command."""

    @property
    def what(self) -> Outside: ...

    @property
    def voice(self) -> str: ...

    def key(self) -> str:
        """Names the sound, for the record of what was heard."""
        ...

    def say(self) -> Stream:
        """The sound."""
        ...


@dataclass(frozen=True, slots=True)
class Beside:
    """An utterance of `outside`, said by a voice: something `Overheard`.

    Attributes:
        what: is said, and where.
        voice_used, manner: who says it and how.
        seed: of the noise.
    """

    what: Outside
    voice_used: Voice
    manner: Manner
    seed: int

    @property
    def voice(self) -> str:
        """Who says it."""
        return self.voice_used.name

    def key(self) -> str:
        """Names the sound, for the record of what was heard."""
        return f"outside {self.voice_used.name} {self.manner} {self.seed} {self.what.text}"

    def say(self) -> Stream:
        """The sound, in the bench's quiet."""
        speech = speak(self.voice_used, self.what.text, self.manner)
        quiet = CONDITIONS["quiet"]
        return under(quiet, speech, quiet.noises[0], self.seed, self.what.split)


def besides(split: Split, limit: int | None = None) -> list[Overheard]:
    """The first `limit` utterances outside the grammar, voices in turn."""
    voices = [voice for voice in installed() if voice.split == split]
    return [
        Beside(
            one,
            in_turn(voices, one.number, f"voices {split}"),
            Manner.drawn(random.Random(f"outside manner {split} {one.number}")),
            zlib.crc32(f"outside {split} {one.number}".encode()),
        )
        for one in outside(split, limit)
    ]


Came = Literal["logged", "obeyed", "invented", "asked", "answered", "silence"]


@dataclass(frozen=True, slots=True)
class Response:
    """What came of an utterance outside the grammar.

    Attributes:
        kind, voice, text: of the utterance.
        heard: the best hypothesis of each piece, joined.
        came: logged as a value; obeyed as a command; asked about a value that nobody offered;
            answered in a sentence; or silence.
        share: the most belief that a value or a command carried.
    """

    kind: str
    voice: str
    text: str
    heard: str
    came: Came
    share: float


#: What came, the worst first.
WORST: tuple[Came, ...] = ("logged", "obeyed", "invented", "asked", "answered", "silence")


def response(trial: Overheard, listener: Listener) -> Response:
    """Say it; what the tool does."""
    what = trial.what
    talk = dialogue(what.plan)
    step = talk.desk.plan.step(what.step)
    session = midway(step)
    came: list[Came] = ["silence"]
    heard, share = [], 0.0
    for ear in listener.ears_of(trial.key(), trial.say):
        listened = ear.hear(talk.desk, session)
        answer = talk.respond(session, listened.heard)
        heard.append(listened.heard.text)
        came.append(came_of(session, answer))
        understood = answer.understood
        if understood and not isinstance(understood.meaning, Aside | Unclear):
            share = max(share, understood.share)
        session = answer.session
    worst = min(came, key=WORST.index)
    return Response(what.kind, trial.voice, what.text, " / ".join(heard), worst, share)


def came_of(before: Session, answer: Answer) -> Came:
    """What the tool did with an utterance."""
    events = [event for event in answer.events if not isinstance(event, UtteranceHeard)]
    if any(isinstance(event, ReadingTaken) for event in events):
        return "logged"
    if any(isinstance(event, Asked) and event.candidates for event in events):
        return "invented"
    said = [event for event in events if isinstance(event, Asked | Spoke)]
    meaning = answer.understood.meaning if answer.understood else None
    changed = replace(answer.session, misses=before.misses) != before
    asked = answer.session.question
    if asked and asked.kind in ("meant", "finish", "correct"):
        return "asked"
    if changed or len(said) < len(events) or isinstance(meaning, Command | SetCondition):
        return "obeyed"
    return "answered" if said else "silence"
