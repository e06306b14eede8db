"""What the conversation will need is worked out before, beside it: grammars, and the diagnosis."""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress

from handsfree.dialogue import Session
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.informed import proposal
from handsfree.errors import HandsfreeError
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.meaning import interpret
from handsfree.words import Transcriber

AFTER_ANSWER = 0.2
"""Seconds after which the answer has begun to sound."""


def work_ahead(desk: Desk, session: Session, wait: Callable[[], None]) -> threading.Thread:
    """Begin, in the background; each thing is kept where it is made.

    Args:
        desk, session: the conversation.
        wait: called before each thing, to leave the machine to what is more urgent.
    """
    thread = threading.Thread(target=_work, args=(desk, session, wait), daemon=True)
    thread.start()
    return thread


def grammar_ahead(job: Job, ears: Transcriber) -> threading.Thread:
    """Make the grammar of what may be said next, and give it to the engine, in the background."""
    thread = threading.Timer(AFTER_ANSWER, lambda: ears.prepare(job.grammar))
    thread.daemon = True
    thread.start()
    return thread


def _work(desk: Desk, session: Session, wait: Callable[[], None]) -> None:
    spoken, here = desk.spoken, desk.focus(session)
    steps = [*([here] if here else []), *desk.plan.steps]
    with suppress(HandsfreeError, LookupError):  # it will be told where it is needed
        wait()
        spoken.language.warm_up()
        wait()
        interpret(Heard.of_text(desk.plan.title), spoken, here)  # as anything that is strange
        for step in steps[:1] if desk.informed else steps:
            wait()
            spoken.automaton(step)
        wait()
        proposal(desk, session)
        for step in steps:
            wait()
            spoken.automaton(step, "answering")
