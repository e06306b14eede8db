"""What a technician sees at a glance: a view of the job, folded from its events.

Pure: no screen, no clock.  `Glance` is the view; `handsfree.display.fold` makes it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any, Literal

from handsfree.meaning import Take

#: How a value came out, for its colour and its sign; the verdict itself is always in words.
Badge = Literal["pass", "fail", "marginal", "none", "void"]
#: Where the sound comes from, as far as was told.
SoundState = Literal["on", "lost"]


@dataclass(frozen=True, slots=True)
class WireLook:
    """A wire as it looks and as it is called.

    Attributes:
        name: in words, such as "black with yellow stripe".
        colour: main colour, a word of the plan.
        stripe: colour of its stripe, or None.
        look: how the main colour, and the stripe's if there is one, look: "#rrggbb".
        function: what it does, such as "sensor ground".
        pin: label of its pin.
    """

    name: str
    colour: str
    stripe: str | None
    look: tuple[str, ...]
    function: str
    pin: str


@dataclass(frozen=True, slots=True)
class Value:
    """The last value, with its verdict.

    Attributes:
        number: of its entry.
        wires: which it was taken on; none for an observation.
        step: id of the step.
        shown: number, state or answer, such as "4.98".
        unit: such as "V"; empty for a state.
        verdict: in words, such as "in range".
        distance: how far outside, or from the limit; such as "by 0.2 V".
        mark: how it came out.
    """

    number: int
    wires: tuple[WireLook, ...]
    step: str
    shown: str
    unit: str
    verdict: str
    distance: str
    mark: Badge


@dataclass(frozen=True, slots=True)
class Glance:
    """Everything that the displays show.

    Attributes:
        title: of the plan.
        step: id of the open step; empty if none is open.
        number, count: the open step is `number` of `count` in this phase; 0 if none is open.
        wires: that are to be probed now: none, one, or two (red lead, black lead).
        prompt: what to do, as it is said.
        condition: that the step wants.
        expected: what is right, in figures; empty while the apprentice is to guess it.
        caution: of the step or its condition.
        value: the last value.
        heard: what the tool heard.
        understood: whether that had a meaning.
        said: what the tool said last, if that was no prompt.
        untold: an apprentice has yet to say what to expect.
        question: that is open.
        options: answers to it in figures.
        level: of the sound, 0 to 1, in steps of 0.05; None if nobody tells it.
        turn: whose it is: listening, speaking, or waiting for the key; empty if nobody tells it.
        paused: only the wake words count.
        sound: whether the microphone is there.
        part: the verdict of the plan's rules; None before.
        finished: "verified" or "not verified" at the end; "finished" where nothing was expected.
        taken: takes that stand, by step id; what later steps are compared with.
    """

    title: str
    step: str = ""
    number: int = 0
    count: int = 0
    wires: tuple[WireLook, ...] = ()
    prompt: str = ""
    condition: str = ""
    expected: str = ""
    caution: str = ""
    value: Value | None = None
    heard: str = ""
    understood: bool = True
    said: str = ""
    untold: bool = False
    question: str = ""
    options: tuple[str, ...] = ()
    level: float | None = None
    turn: str = ""
    paused: bool = False
    sound: SoundState = "on"
    part: str | None = None
    finished: str = ""
    taken: Mapping[str, Take] = field(default_factory=dict, repr=False)

    def plain(self) -> dict[str, Any]:
        """The view as JSON values."""
        fields = asdict(self)
        del fields["taken"]
        return fields
