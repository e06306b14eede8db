"""What came of a trial, after the real dialogue and at most one question."""

from __future__ import annotations

import random
from dataclasses import dataclass, field, replace
from typing import Any

from handsfree.dialogue import Response, Session
from handsfree.dialogue.voice_record import UNHEARD, VoiceRecord
from handsfree.events import Asked, Event, Question, ReadingTaken, UtteranceHeard
from handsfree.meaning import Ambiguous, Meaning, Observation, Reading, State, Unclear

from .hearing import Listened, Listener
from .phrases import Phrase, dialogue, same, scene, value_of
from .trials import Trial


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a trial.

    Attributes:
        condition, voice, noise, kind, text, plan, step: of the trial.
        heard: the best hypothesis of each utterance, joined.
        did: in a word: right, asked, silent wrong, other act, refused, nothing.
        at_once: right without a question.
        after_one: right after at most one question.
        asked: a question, or a refusal that wants the value again.
        silent_wrong: a value was logged without a question, and value or step is wrong.
        wrong_after: a wrong value was logged after a question.
        other_act: something else was done, such as a command that nobody gave.
        share: the belief that the first meaning carries; None if nothing was understood.
        first_right: whether the meaning that was heard first is right.
        decode, cpu, seconds: of decoding by clock and processor, and of the sound decoded.
        delays: seconds from the end of the speech to the result, once for each thing said.
        beyond: the part of it after the endpointer has closed the utterance.
    """

    condition: str
    voice: str
    noise: str
    kind: str
    text: str
    plan: str
    step: str
    value: bool
    heard: str = ""
    did: str = "nothing"
    at_once: bool = False
    after_one: bool = False
    asked: bool = False
    silent_wrong: bool = False
    wrong_after: bool = False
    other_act: bool = False
    share: float | None = None
    first_right: bool = False
    decode: float = 0.0
    cpu: float = 0.0
    seconds: float = 0.0
    delays: tuple[float, ...] = ()
    beyond: tuple[float, ...] = ()


@dataclass
class _Turn:
    """One thing said, and what the dialogue did."""

    session: Session
    responses: list[Response] = field(default_factory=list)
    listened: list[Listened] = field(default_factory=list)

    @property
    def events(self) -> list[Event]:
        every = [event for response in self.responses for event in response.events]
        return [event for event in every if not isinstance(event, UtteranceHeard)]


def outcome(trial: Trial, listener: Listener, speaker: VoiceRecord = UNHEARD) -> Outcome:
    """Say the phrase; if the tool asks, answer once, in the same condition.

    Args:
        trial: what is said.
        listener: hears it.
        speaker: how the voice was heard before.
    """
    phrase = trial.phrase
    before = replace(scene(phrase), speaker=speaker)
    first = _say(trial, listener, phrase.text, 0, before)
    turns = [first]
    result = _judge(phrase, before, first)
    if result["asked"]:
        text, take = _answer(phrase, first.session)
        if text:
            second = _say(trial, listener, text, take, first.session)
            turns.append(second)
            right, wrong = _logged(phrase, second.events)
            if not phrase.is_value:
                right = _understood(phrase, second)
                wrong = wrong and not right
            again = any(isinstance(e, Asked) for e in second.events)
            result["after_one"] = right and not wrong and not again
            result["wrong_after"] = wrong
    best = max(
        (r.understood for r in first.responses if r.understood),
        key=lambda u: u.share if not isinstance(u.meaning, Unclear) else -1.0,
        default=None,
    )
    known = best is not None and not isinstance(best.meaning, Unclear)
    listened = [one for turn in turns for one in turn.listened]
    return Outcome(
        trial.condition,
        trial.voice,
        trial.noise,
        phrase.kind,
        phrase.text,
        phrase.plan,
        phrase.step,
        phrase.is_value,
        heard=" / ".join(one.heard.text for one in first.listened),
        share=best.share if best is not None and known else None,
        first_right=known and best is not None and first_right(phrase, best.meaning),
        decode=sum(one.wall for one in listened),
        cpu=sum(one.cpu for one in listened),
        seconds=sum(one.heard.end - one.heard.start for one in listened),
        delays=tuple(turn.listened[-1].delay for turn in turns if turn.listened),
        beyond=tuple(turn.listened[-1].beyond for turn in turns if turn.listened),
        **result,
    )


def first_turn(
    trial: Trial, listener: Listener, speaker: VoiceRecord = UNHEARD
) -> tuple[str, bool]:
    """What the first thing said came to, and whether one question can put it right.

    It can where the question holds what was meant, or wants it said again.
    """
    phrase = trial.phrase
    before = replace(scene(phrase), speaker=speaker)
    turn = _say(trial, listener, phrase.text, 0, before)
    did = str(_judge(phrase, before, turn)["did"])
    return did, did in ("asked", "refused") and bool(_answer(phrase, turn.session)[0])


def _say(trial: Trial, listener: Listener, text: str, take: int, session: Session) -> _Turn:
    talk = dialogue(trial.phrase.plan)
    turn = _Turn(session)
    for ear in listener.listen(trial, text, take):
        listened = ear.hear(talk.desk, turn.session)
        response = talk.respond(turn.session, listened.heard)
        turn.session = response.session
        turn.listened.append(listened)
        turn.responses.append(response)
    return turn


def _judge(phrase: Phrase, before: Session, turn: _Turn) -> dict[str, Any]:
    """What the first thing said came to."""
    asked = _asked_first(turn)
    right, wrong = _logged(phrase, turn.events)
    done = right and not wrong and not asked
    if not phrase.is_value:  # "yes" logs what was asked about, and "correction" asks: both right
        done = _understood(phrase, turn)
        wrong, asked = wrong and not done, asked and not done
    silent_wrong = wrong and not asked
    refused = (
        not right
        and not wrong
        and any(
            r.understood and isinstance(r.understood.meaning, Reading | State | Observation)
            for r in turn.responses
        )
    )
    asked = not done and not silent_wrong and (asked or refused)
    acted = not done and not silent_wrong and not asked and _acted(before, turn)
    did = (
        "right" if done else
        "silent wrong" if silent_wrong else
        "refused" if asked and refused and not _asked_first(turn) else
        "asked" if asked else
        "other act" if acted else
        "nothing"
    )  # fmt: skip
    return {
        "did": did,
        "at_once": done,
        "after_one": done,
        "asked": asked,
        "silent_wrong": silent_wrong,
        "wrong_after": False,
        "other_act": acted,
    }


def _asked_first(turn: _Turn) -> bool:
    """Whether a question came before anything was logged."""
    for effect in turn.events:
        if isinstance(effect, Asked):
            return True
        if isinstance(effect, ReadingTaken):
            return False
    return False


def _acted(before: Session, turn: _Turn) -> bool:
    """Whether anything but a question came of it; talk that changes nothing counts too."""
    return bool(turn.events) or turn.session != before


def _logged(phrase: Phrase, events: list[Event]) -> tuple[bool, bool]:
    """Whether the right value was logged, and whether a wrong one was."""
    entries = [effect.entry for effect in events if isinstance(effect, ReadingTaken)]
    good = [e for e in entries if same(e.take, value_of(phrase)) and e.step == phrase.at]
    return bool(good), len(good) < len(entries)


def _understood(phrase: Phrase, turn: _Turn) -> bool:
    meanings = [r.understood.meaning for r in turn.responses if r.understood]
    heard = [m for m in meanings if not isinstance(m, Unclear)]
    return len(heard) == 1 and same(heard[0], phrase.intended)


def first_right(phrase: Phrase, meaning: Meaning) -> bool:
    """Whether what was understood is what was meant, its first reading if it has two."""
    wanted: Meaning = phrase.intended
    if isinstance(meaning, Ambiguous):
        meaning = meaning.candidates[0]
        wanted = value_of(phrase) or wanted
    wires = [getattr(m, "wire", None) for m in (meaning, phrase.intended)]
    other_wire = wires[0] is not None and wires[1] is not None and wires[0] != wires[1]
    return same(meaning, wanted) and not other_wire


def _answer(phrase: Phrase, session: Session) -> tuple[str, int]:
    """What the technician says to the question, and which take it is; nothing if lost."""
    question: Question | None = session.question
    rng = random.Random(f"answer {phrase.split} {phrase.number}")
    language = dialogue(phrase.plan).desk.spoken.language
    wanted = value_of(phrase)
    if question is None or question.kind == "correct" or phrase.before in ("confirm", "which"):
        return phrase.text, 1
    right = [i for i, c in enumerate(question.candidates[:2]) if same(c, wanted)]
    if question.step != phrase.at or not right:
        return "", 0
    rule = "yes" if question.kind == "confirm" else ("first", "second")[right[0]]
    return rng.choice(language.phrases(rule)), 0
