"""What the conversation will need is worked out before, beside it: grammars, and the diagnosis."""

from __future__ import annotations

import threading
from contextlib import suppress

from handsfree.dialogue import Session
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.informed import proposal
from handsfree.errors import HandsfreeError


def work_ahead(desk: Desk, session: Session) -> threading.Thread:
    """Begin, in the background; each thing is kept where it is made."""
    thread = threading.Thread(target=_work, args=(desk, session), daemon=True)
    thread.start()
    return thread


def _work(desk: Desk, session: Session) -> None:
    spoken, here = desk.spoken, desk.focus(session)
    steps = [*([here] if here else []), *desk.plan.steps]
    with suppress(HandsfreeError, LookupError):  # it will be told where it is needed
        for step in steps[:1] if desk.informed else steps:
            for written in (False, True):
                spoken.automaton(step, written=written)
        proposal(desk, session)
        for step in steps:
            for written in (False, True):
                spoken.automaton(step, "answering", written=written)
        spoken.several()
