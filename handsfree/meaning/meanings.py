"""What an utterance can mean."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from handsfree.grammar.numerals import Form
from handsfree.units import Quantity

#: What a meter has kept of a value that moves; empty for what it shows now.
Hold = Literal["", "min", "max", "average", "peak"]


@dataclass(frozen=True, slots=True)
class Reading:
    """A value read off the meter.

    Attributes:
        value: the quantity; None when the meter showed over limit.
        wire: label of its pin if a wire was named.
        number: the number as spoken, with its decimal places; None for over limit.
        form: whether the number was spoken in full.
        unit_spoken: False if the unit is the step's own.
        hold: which of the values that the meter went through it is.
        minus_leads: resistance of the leads that `value` is without, while `number` has it.
    """

    value: Quantity | None
    wire: str | None = None
    number: Decimal | None = None
    form: Form = "plain"
    unit_spoken: bool = True
    hold: Hold = ""
    minus_leads: Quantity | None = None

    @property
    def over_limit(self) -> bool:
        """Whether the meter showed beyond its range."""
        return self.value is None


@dataclass(frozen=True, slots=True)
class State:
    """What a wire shows without a number: ground, battery, open …

    Attributes:
        state: it.
        wire: label of its pin if a wire was named.
        shown: the reading that was said for it, if one was.
    """

    state: str
    wire: str | None = None
    shown: Reading | None = None


@dataclass(frozen=True, slots=True)
class Observation:
    """The answer to what was to be observed."""

    answer: str
    wire: str | None = None


Take = Reading | State | Observation
"""What can be logged."""


@dataclass(frozen=True, slots=True)
class Command:
    """Something asked of the tool.

    Attributes:
        name: as tagged in the grammar: repeat, next, back, correct, yes, choice …
        take: the new value, for "correct"; a value that an answer names.
        wire: for "go", and for "wire", which answers a question.
        choice: 1 or 2, for "choice".
        others: further pins that may be meant, where wires look alike.
    """

    name: str
    take: Take | None = None
    wire: str | None = None
    choice: int = 0
    others: tuple[str, ...] = ()


#: Commands that end, strike, skip, move or begin a watch.
DECISIVE = frozenset(
    {"finish", "strike", "skip", "next", "back", "go", "watch", "repaired", "correct"}
)


@dataclass(frozen=True, slots=True)
class SetCondition:
    """The technician says which condition is set."""

    condition: str


@dataclass(frozen=True, slots=True)
class Note:
    """Free words; `text` is a best effort and unverified."""

    text: str


#: What a meter does in a watch: it goes to a value, moves without end, shows nothing for a moment,
#: stands, or is told to show a value.
SeenShows = Literal["drop", "jump", "flicker", "dropout", "steady", "level"]


@dataclass(frozen=True, slots=True)
class Seen:
    """Something that the meter does while a wire is watched.

    Attributes:
        shows: what it does.
        reading: the value that was said with it.
        others: other ways to read that number, until it is settled.
        approximate: the value is about that; what is fleeting cannot be read again.
    """

    shows: SeenShows
    reading: Reading | None = None
    others: tuple[Reading, ...] = ()
    approximate: bool = False


#: What is told of: a wire that is new, one of the plan, or a voltage of the vehicle.
ToldOf = Literal["new wire", "wire", "reference", "supply"]


@dataclass(frozen=True, slots=True)
class Telling:
    """How something is in this vehicle.

    Attributes:
        of: what is told of.
        wire: label of the pin of a wire of the plan.
        colour: "white", or "white/green"; None if it is not told.
        pin: its label; None if it is not told.
        volts: of the reference or the supply.
        more: what was told in the same breath.
    """

    of: ToldOf
    wire: str | None = None
    colour: str | None = None
    pin: str | None = None
    volts: Quantity | None = None
    more: tuple[Telling, ...] = ()


@dataclass(frozen=True, slots=True)
class Difference:
    """The readings of two wires are to be compared.

    Attributes:
        first, second: labels of their pins.
        drop: it is asked for as a drop from the first to the second.
    """

    first: str
    second: str
    drop: bool = False


@dataclass(frozen=True, slots=True)
class Ambiguous:
    """Two or more meanings that only the technician can tell apart, likeliest first.

    Attributes:
        candidates: what may be meant.
        reason: "heard", "number form", "wire" if the wire that was named may be several, or
            "correction" while it is not settled which value is put right.
    """

    candidates: tuple[Take, ...]
    reason: str


#: A value that takes the place of another: why it is ambiguous, while its number is not settled.
CORRECTION = "correction"


def is_correction(meaning: object) -> bool:
    """Whether it is that."""
    return isinstance(meaning, Ambiguous) and meaning.reason == CORRECTION


AsideKind = Literal[
    "negated",
    "hedged",
    "expected",
    "past",
    "asked",
    "range",
    "several",
    "filler",
    "kept",
    "unknown",
]


@dataclass(frozen=True, slots=True)
class Aside:
    """Something said that is no reading and no command, and is never logged as one.

    Attributes:
        kind: a value that is denied, vague, wanted, of the past, asked about or a range; several
            values that name no wires; a filler; "kept": a wish that is denied; or "unknown": words
            that the grammar does not have.
        about: whether a value, a state or a wire was named in it, so that it may be meant for us.
    """

    kind: AsideKind
    about: bool = True


#: A reason to be unclear: a bare number at a step that measures none.
NO_UNIT = "a number without a unit, and this step measures none"


#: Another: wires of one name, where one is needed.
TWINS = "more than one wire has that name"


@dataclass(frozen=True, slots=True)
class Unread:
    """A value that was said of a wire, among others, and that nobody can log.

    Attributes:
        wire: label of its pin.
        reason: what it is instead; "unknown" for words that were not understood.
    """

    wire: str
    reason: AsideKind = "unknown"


OneValue = Take | Ambiguous | Unread
"""One of several that are said in one breath."""


def candidates(value: OneValue) -> tuple[Take, ...]:
    """What a value may be; nothing if it was not understood."""
    match value:
        case Unread():
            return ()
        case Ambiguous(candidates=takes):
            return takes
    return (value,)


@dataclass(frozen=True, slots=True)
class Several:
    """Values of several wires, said in one breath.

    Attributes:
        values: in the order in which they were said; the candidates of each that is ambiguous.
        announced: how many there should be; 0 if that was not said.
    """

    values: tuple[OneValue, ...]
    announced: int = 0

    @property
    def miscounted(self) -> bool:
        """Whether another number of them was announced."""
        return self.announced not in (0, len(self.values))


@dataclass(frozen=True, slots=True)
class Unclear:
    """Nothing that can be said here."""

    reason: str


Meaning = (
    Take
    | Command
    | SetCondition
    | Note
    | Seen
    | Telling
    | Difference
    | Several
    | Ambiguous
    | Aside
    | Unclear
)


@dataclass(frozen=True, slots=True)
class Repair:
    """A near miss of a name that was put right."""

    heard: str
    taken: str


@dataclass(frozen=True, slots=True)
class Understood:
    """A meaning with how it was reached.

    Attributes:
        meaning: the result.
        text: the wording it was read from.
        repairs: names that were put right, to be said.
        share: 0 to 1, the probability that this meaning is right, by the engine's belief.
        by_gist: the words are not the grammar's; this is what they come to.
    """

    meaning: Meaning
    text: str = ""
    repairs: tuple[Repair, ...] = ()
    share: float = 1.0
    by_gist: bool = False
