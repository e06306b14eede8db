"""A job in its midst: where what the bench says is said."""

from __future__ import annotations

from handsfree.check import Comparison
from handsfree.check.expected import Expected
from handsfree.dialogue import Session
from handsfree.events import Entry
from handsfree.meaning import State
from handsfree.plan import Step


def midway(step: Step) -> Session:
    """A job at a step, in which a value was logged before and struck.

    That value weighs nothing; but after the first value of a job nothing may be told of the
    vehicle any more, so that the grammar is the one at which nearly all values are heard.
    """
    nothing = Comparison("logged", None, Expected())
    struck = Entry(1, step.id, step.condition, State("open"), nothing, stands=False)
    return Session(step=step.id, condition=step.condition, phase=step.phase, entries=(struck,))
