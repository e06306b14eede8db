"""The pause that ends an utterance depends on whether what was said may go on to another value.

What may follow a number on a meter's display is common practice, no published source.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache, partial
from threading import Event
from types import SimpleNamespace

import numpy as np
import pytest

from handsfree.grammar import Automaton, SpokenPlan
from handsfree.grammar.going_on import Outlook, outlook
from handsfree.heard import Heard, Hypothesis
from handsfree.languages import load_language
from handsfree.live.hearing import Ending, Hearing
from handsfree.live.patience import ANOTHER_WIRE, REMEMBERED, WAITED_FOR, Patience
from handsfree.live.turns import Turns
from handsfree.plan import load_plan
from handsfree.sound.audio import RATE
from handsfree.sound.blocks import Block
from handsfree.sound.endpoint import FRAME, PAUSE, Endpointer, Utterance


@cache
def grammar(language: str = "en", plan: str = "headlamp-levelling") -> Automaton:
    loaded = load_plan(plan).plan
    return SpokenPlan(load_language(language), loaded).automaton(loaded.steps[0])


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("four point nine eight volts", "whole"),
        ("red with white stripe four point nine seven volts", "whole"),
        ("correction four point two volts", "whole"),
        ("battery voltage", "whole"),
        ("over limit", "whole"),
        ("what is expected", "whole"),
        ("next", "whole"),
        ("eight point four k", "unit"),  # kilohms, or kilovolts
        ("no", "answer"),  # ... four point nine
        ("yes", "whole"),
        ("four point nine", "decimals"),
        ("twelve six", "decimals"),
        ("four nine eight", "decimals"),
        ("twelve", "number"),
        ("correction", "number"),
        ("two hundred", "number"),
        ("note the seal", "words"),
        ("uh", "hesitation"),
        ("four point", "no sentence"),
        ("go to", "no sentence"),
    ],
)
def test_what_may_come(text: str, expected: Outlook) -> None:
    assert outlook(grammar(), text.split()) == expected


def test_a_whole_sentence_is_waited_for_shortly_and_one_that_may_go_on_longer() -> None:
    def pause(text: str) -> float:
        return Patience().pause(Heard.of_text(text), grammar())

    assert pause("four point nine eight volts") <= 0.3
    assert pause("four point nine") < pause("twelve") == PAUSE
    assert pause("uh") > PAUSE
    assert pause("four point") == PAUSE


def test_who_says_several_values_in_a_breath_is_waited_for_after_one_with_its_wire() -> None:
    patience = Patience()

    def pause(text: str) -> float:
        return patience.pause(Heard.of_text(text), grammar())

    wired = "red with white stripe four point nine seven volts"
    assert pause(wired) == WAITED_FOR["whole"]
    patience.spoke(0.0, several=True)
    assert pause("red with white stripe four point nine seven volts") == ANOTHER_WIRE
    assert pause("orange ground") == ANOTHER_WIRE
    assert pause("four point nine seven volts") == pause("ground") == WAITED_FOR["whole"]
    assert pause("go to orange") == WAITED_FOR["whole"]
    assert pause("orange twelve") == PAUSE
    for _ in range(REMEMBERED):
        patience.spoke(0.0)
    assert pause(wired) == WAITED_FOR["whole"]


def test_where_it_is_not_sure_the_likely_wording_that_may_go_on_furthest_decides() -> None:
    def pause(*texts: str) -> float:
        wordings = [Hypothesis(text, -0.1 * place) for place, text in enumerate(texts)]
        return Patience().pause(Heard(tuple(wordings)), grammar())

    assert pause("four volts", "four point four volts") == WAITED_FOR["whole"]
    assert pause("four volts", "four point four") == WAITED_FOR["decimals"]
    assert pause("four volts", "four") == PAUSE
    assert pause("four volts", "the fall of") == PAUSE
    unlikely = (Hypothesis("four volts", 0.0), Hypothesis("four", -3.0))
    assert Patience().pause(Heard(unlikely), grammar()) == WAITED_FOR["whole"]
    assert Patience().pause(Heard(()), grammar()) == PAUSE


def test_who_pauses_within_sentences_is_waited_for() -> None:
    said = Heard.of_text("four point nine eight volts")
    assert Patience().pause(said, grammar(), within=0.5) == pytest.approx(0.65)
    patience = Patience()
    patience.spoke(0.6)
    assert patience.pause(said, grammar()) == pytest.approx(0.78)
    for _ in range(REMEMBERED):
        patience.spoke(0.0)
    assert patience.pause(said, grammar()) == WAITED_FOR["whole"]


def stream(*parts: tuple[float, bool]) -> np.ndarray:
    """Sound from (seconds, is speech) pairs."""
    return np.concatenate(
        [np.full(round(s * RATE / FRAME) * FRAME, 0.5 * speech, np.float32) for s, speech in parts]
    )


def ends(pause: float | None, *parts: tuple[float, bool]) -> list[float]:
    """Length of each utterance, if each that has perhaps ended is told to end after `pause`."""
    endpointer = Endpointer(after=0.2, detector=lambda frame: float(np.abs(frame).max() > 0.1))
    found = []
    sound = stream(*parts)
    for at in range(0, len(sound), FRAME):
        found += endpointer.feed(sound[at : at + FRAME])
        if pause is not None and endpointer.ending:
            found += endpointer.wait(endpointer.ending.end, pause)
    return [u.voiced or 0 for u in found]


def test_the_pause_that_is_told_ends_it() -> None:
    parts = ((1.0, False), (0.64, True), (0.5, False), (0.32, True), (1.5, False))
    assert ends(None, *parts) == pytest.approx([0.96])
    assert ends(0.3, *parts) == pytest.approx([0.64, 0.32])
    assert ends(0.6, *parts) == pytest.approx([0.96])


def test_a_pause_that_is_over_when_it_is_told_ends_the_utterance_at_once() -> None:
    endpointer = Endpointer(after=0.2, detector=lambda frame: float(np.abs(frame).max() > 0.1))
    endpointer.feed(stream((0.5, True), (0.25, False)))
    early = endpointer.ending
    assert early is not None
    assert endpointer.wait(early.end, 0.3) == []
    (found,) = endpointer.wait(early.end, 0.25)
    assert (found.start, found.end) == (early.start, early.end)
    assert endpointer.wait(early.end, 0.25) == []
    assert endpointer.feed(stream((1.2, False))) == []


def test_what_is_understood_after_its_pause_does_not_wait_for_the_next_block(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    loud = partial(Endpointer, detector=lambda frame: float(np.abs(frame).max() > 0.1))
    monkeypatch.setattr("handsfree.live.hearing.Endpointer", loud)
    closed = Event()

    class Stopped:
        """A sound card that tells no more after the first pause."""

        def messages(self) -> Iterator[Block]:
            sound = stream((0.5, False), (0.5, True), (0.4, False))
            yield from (Block(sound[at : at + FRAME]) for at in range(0, len(sound), FRAME))
            closed.wait()

    mouth = SimpleNamespace(wait=lambda _: None, lost=lambda: None)
    hearing = Hearing(Stopped(), Turns(), mouth)  # type: ignore[arg-type]
    hearing.start()
    ending = hearing.next(5)
    while later := hearing.next(0.5):
        ending = later
    assert isinstance(ending, Ending)
    hearing.wait(ending.utterance, 0.25)
    ended = hearing.next(0)
    closed.set()
    assert isinstance(ended, Utterance)
    assert ended.end == ending.utterance.end


def test_a_pause_that_is_told_holds_until_speech_goes_on() -> None:
    endpointer = Endpointer(after=0.2, detector=lambda frame: float(np.abs(frame).max() > 0.1))
    endpointer.feed(stream((0.5, True), (0.25, False)))
    early = endpointer.ending
    assert early is not None
    endpointer.wait(early.end, 2.0)
    assert endpointer.feed(stream((1.2, False))) == []  # hesitation
    assert endpointer.feed(stream((0.5, True), (0.5, False))) == []
    endpointer.wait(early.end, 0.3)  # too late: it has gone on
    (found,) = endpointer.feed(stream((0.6, False)))
    assert found.within == pytest.approx(1.45, abs=0.1)
