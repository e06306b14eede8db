"""Enrolling a voice: a person reads lines that are known, and the engine hears them as values."""

from __future__ import annotations

from functools import cached_property

from handsfree.dialogue import Dialogue, Session
from handsfree.dialogue.enrolled import Enrolled, LineHeard
from handsfree.dialogue.respond import SURE_VALUE
from handsfree.heard import Heard
from handsfree.languages import data_folder, load_language
from handsfree.meaning import Unclear
from handsfree.plan import load_plan
from handsfree.sound.audio import decibels, level
from handsfree.sound.endpoint import Utterance
from handsfree.words import Transcriber
from handsfree.words.pace import LETTER, START

#: Where the lines are heard: a step at which a number of any size may be a reading.
_PLAN, _STEP = "thermistor-2wire", "pin_1_to_2"
#: The probability where nothing is understood, as at chance.
_NOTHING = 0.5


def enrolment_lines(language: str = "en") -> list[str]:
    """The lines to be read; each digit and each ending is in several."""
    path = data_folder("grammars") / language / "enrolment.txt"
    return path.read_text(encoding="utf-8").split("\n")[:-1]


def understood_text(talk: Dialogue, session: Session, said: str, heard: str) -> str:
    """The line itself, where what was heard means the same: "ohm" for "ohms" is no mistake."""
    one, other = (talk.understand(session, Heard.of_text(t)).meaning for t in (said, heard))
    return said if heard and one == other else heard


class Enrolling:
    """Hears lines.

    Args:
        ears: the engine.
    """

    def __init__(self, ears: Transcriber) -> None:
        self._ears = ears

    def line(self, said: str, utterance: Utterance) -> LineHeard:
        """What becomes of a line that is read."""
        talk = self._talk
        step = talk.desk.plan.step(_STEP)
        session = Session(step=step.id, condition=step.condition, phase=step.phase)
        grammar = talk.desk.spoken.automaton(step, session.moment)
        heard = self._ears.hear(utterance, grammar, talk.desk.wording.hint)
        spoken = utterance.voiced or utterance.end - utterance.start
        usual = START + LETTER * sum(map(str.isalnum, said))
        loud = decibels(level(utterance.samples))
        text = understood_text(talk, session, said, heard.text)
        return LineHeard(said, text, self._likely(session, heard), spoken / usual, loud)

    def _likely(self, session: Session, heard: Heard) -> float:
        understood = self._talk.understand(session, heard)
        unclear = not heard.hypotheses or isinstance(understood.meaning, Unclear)
        return _NOTHING if unclear else understood.share

    @cached_property
    def _talk(self) -> Dialogue:
        return Dialogue(load_plan(_PLAN).plan, load_language("en"))


def how_far_trusted(enrolled: Enrolled) -> list[str]:
    """How far a person's numbers can be trusted, and what will be asked, in sentences."""
    wrong = enrolled.lines - enrolled.right
    told = [f"{enrolled.right} of {enrolled.lines} lines were understood word by word."]
    factor = enrolled.record.factor
    if wrong == 0:
        told.append("Your numbers are heard as well as those of most people.")
    elif factor == 1:
        told.append("That is what is usual: you are asked as often as others.")
    else:
        sure = 1 - (1 - SURE_VALUE) / (factor * SURE_VALUE + 1 - SURE_VALUE)
        told.append(
            f"You are misheard {factor:.1f} times as often as others, so you are asked sooner: "
            f"about every value that the engine is less than {100 * sure:.0f} % sure of."
        )
    for c in sorted(enrolled.confusions, key=lambda c: -c.weight):
        told.append(
            f"“{c.said}” was taken for “{c.heard}”: asked about where “{c.heard}” is heard."
        )
    if enrolled.level < _SOFT:
        told.append("You are hard to hear: bring the microphone nearer.")
    return told


#: Level of lines that are too soft, dBFS: 30 dB below ordinary speech into a headset.
_SOFT = -56.0
