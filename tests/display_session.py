"""A typed session about the flap actuator: the events that a display is told, and its views."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

from by_hand import by_hand

from handsfree.dialogue import Dialogue, Wording
from handsfree.display import Glance, begin, fold
from handsfree.events import Logged
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import load_language
from handsfree.log import open_job

PLAN = "flap-actuator-5wire"

#: What is said, in order; the last answer of each kind of event is looked for in the tests.
SAID = """\
twelve point six volts
point oh two
violet four point nine eight
point six one
strike that
point six two
point six
dead
pause
resume
ground
ground
battery voltage
four volts
over limit
four nine
the second
one point two k
nothing
yes
repair done
point six one
two point five
four point four
yes
yes
no
""".splitlines()


Events = tuple[Logged, ...]


def write_job(folder: Path, said: list[str], *, apprentice: bool = False) -> list[Events]:
    """Dictate into a job folder; what was told before the first and after each utterance."""
    told: list[Logged] = []
    loaded = by_hand(PLAN)
    dialogue = Dialogue(loaded.plan, load_language("en"), apprentice=apprentice)
    with open_job(folder, loaded.text.encode(), title=loaded.plan.title) as log:
        job = Job(dialogue, log, told.append, lambda _: None)
        job.begin()
        turns = [tuple(told)]
        for text in said:
            told.clear()
            job.hear(Heard.of_text(text))
            turns.append(tuple(told))
    return turns


@cache
def wording() -> Wording:
    return Wording(load_language("en"), by_hand(PLAN).plan)


@cache
def turns(apprentice: bool = False) -> list[Events]:
    """What is told at the beginning of the session and in answer to each utterance."""
    with TemporaryDirectory() as folder:
        said = SAID[:2] if apprentice else SAID
        return write_job(Path(folder) / "job", said, apprentice=apprentice)


def events() -> Events:
    """Everything that is told in the session."""
    return tuple(logged for told in turns() for logged in told)


def view(count: int, *, apprentice: bool = False) -> Glance:
    """The view after so many utterances."""
    seen = begin(wording().plan)
    for told in turns(apprentice)[: count + 1]:
        for logged in told:
            seen = fold(seen, logged.event, wording())
    return seen


def view_after(said: str) -> Glance:
    """The view when all that follows from the first utterance of this text is done."""
    return view(SAID.index(said) + 1)
