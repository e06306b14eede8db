"""How an event is written: the fields of its line in the log, beside `seq`, `time` and hashes.

These models are the published format (see `schema`).  A field that has a default was not always
written: lines without it stay readable.  Quantities are a number and its unit.
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from handsfree.check.verdict import Result
from handsfree.events.entries import QuestionKind
from handsfree.fields import PinLabel
from handsfree.grammar.numerals import Form
from handsfree.meaning.meanings import Hold
from handsfree.plan.schema import Outcome

Numeric = int | float


class Fields(BaseModel):
    """Fields of a line, or of a part of one."""

    model_config = ConfigDict(frozen=True, extra="ignore")


class Amount(Fields):
    """A quantity, to the last bit."""

    value: Numeric
    unit: str


class MeaningFields(Fields):
    """What something said means; see `handsfree.meaning.plain`."""

    kind: Literal[
        "reading",
        "state",
        "observation",
        "command",
        "condition",
        "note",
        "seen",
        "telling",
        "difference",
        "several",
        "unread",
        "ambiguous",
        "aside",
        "unclear",
    ]
    wire: str | None = Field(None, description="colours of the wire that was named")
    pin: PinLabel | None = Field(None, description="its pin")
    value: Numeric | str | None = Field(
        None, description="number, state, answer, command, condition or text"
    )
    unit: str | None = None
    candidates: list[MeaningFields] = []
    reason: str | None = None
    over_limit: bool = False
    spoken: str | None = Field(None, description="the number with the places that were spoken")
    form: Form = "plain"
    unit_spoken: bool = True
    hold: Hold = Field("", description="which of the values that the meter went through")
    minus_leads: Numeric | None = Field(None, description="Ω of the leads, subtracted in value")
    choice: int = 0
    announced: int = Field(0, description="how many values there should be, if that was said")
    others: list[PinLabel] = Field([], description="further pins that may be meant")
    take: MeaningFields | None = Field(
        None, description="new value of a correction, what was seen, or what was read of a state"
    )
    told: dict[str, str] = Field(
        {}, description="of a telling: colour and pin of the wire, or the voltage"
    )
    verified: bool | None = None
    approximate: bool = False
    about: bool = Field(True, description="of an aside: it may be meant for the tool")


class RepairFields(Fields):
    """A near miss of a name that was put right."""

    heard: str
    taken: str


class UnderstoodFields(MeaningFields):
    """What an utterance means, and how that was reached."""

    text: str
    repairs: list[RepairFields]
    share: Numeric = Field(description="probability that this meaning is right")
    by_gist: bool = Field(False, description="read from words outside the grammar")


class AlternativeFields(Fields):
    """Another wording of an utterance."""

    text: str
    score: Numeric


class HeardFields(Fields):
    """Something was said to the tool."""

    start: Numeric
    end: Numeric
    engine: str
    text: str
    confidence: Numeric
    alternatives: list[AlternativeFields]
    meaning: UnderstoodFields
    at: Numeric | None = Field(None, description="when it was said, in seconds since 1970, UTC")
    source: str | None = Field(
        None, description="file it was heard in, microphone, phone or keyboard"
    )
    via: Literal["microphone", "phone", "file", "keyboard"] | None = Field(
        None, description="which of these that is; a file may have any name"
    )


class Compared(Fields):
    """What a take was compared with, and how far from the limit it is."""

    low: Amount | None = None
    high: Amount | None = None
    over_limit: bool = False
    states: list[str] = []
    answers: list[str] = []
    missing: str | None = None
    relative_to: str | None = None
    distance: Amount | None = None


class ReadingFields(Fields):
    """A take that counts."""

    number: int
    step: str
    wire: str | None = Field(description="colours of what the step probes")
    pins: list[PinLabel] = []
    condition: str
    measured: Literal["reading", "state", "observation"]
    value: Numeric | str | None
    unit: str | None
    spoken: str | None
    over_limit: bool
    expected: str = Field(description="for people")
    verdict: Result
    outcome: Outcome | None
    distance: str | None = Field(description="for people; how far outside, or from the limit")
    phase: str = "test"
    supersedes: int | None = Field(None, description="seq of the reading that it replaces")
    corrects: bool = Field(False, description="whether that reading was wrong")
    named: PinLabel | None = Field(None, description="pin of the wire that was named with it")
    form: Form = "plain"
    unit_spoken: bool = True
    hold: Hold = Field("", description="which of the values that the meter went through")
    minus_leads: Numeric | None = Field(None, description="Ω of the leads, subtracted in value")
    shown: MeaningFields | None = Field(None, description="the reading that tells the state")
    compared: Compared | None = None


class CorrectedFields(ReadingFields):
    """A value that a reviewer put right; `supersedes` is the one that was misheard."""

    by: str = Field(description="who put it right")
    reason: str


class StruckFields(Fields):
    """A reading no longer counts."""

    struck: int = Field(description="seq of that reading")
    step: str


class OpenQuestion(Fields):
    """The question that is open; its candidates are those of the line."""

    kind: QuestionKind
    step: str | None
    steps: list[str] = Field([], description="step of each candidate, where these differ")
    supersedes: int | None = Field(None, description="seq of the reading that the answer replaces")
    asked: int = 1
    meant: MeaningFields | None = Field(None, description="what is done after yes")
    at: Numeric | None = Field(None, description="when that was said, likewise")


class AskedFields(Fields):
    """The tool asks."""

    text: str
    candidates: list[MeaningFields]
    reason: str
    question: OpenQuestion | None = None


class LessonFields(Fields):
    """The apprentice has said what to expect."""

    step: str
    guess: MeaningFields | None
    right: bool


class CauseFields(Fields):
    """What may explain the readings."""

    kind: Literal["no fault", "fault", "two faults", "none of these"]
    faults: list[str]


class EvidenceFields(Fields):
    """What one reading says of a cause."""

    step: str
    ratio: Numeric
    slip: Numeric
    factor: Numeric | None = None


class RankedFields(CauseFields):
    """A cause and what the readings say of it; odds are plain ratios, 20.0 is twenty to one."""

    parts: list[str]
    say: list[str]
    odds: Numeric
    evidence: list[EvidenceFields]


class CandidateFields(Fields):
    """Something that may be at fault."""

    site: str
    fault: str
    probability: Numeric


class SaidFields(Fields):
    """What may be said of the fault."""

    kind: Literal["found", "suspicion", "not sure", "no fault", "none of these"]
    candidates: list[CandidateFields]
    odds: Numeric
    next_test: str | None
    blind: list[str]


class Certainty(Fields):
    """How sure the ranking is."""

    sure: bool
    odds: Numeric
    group: list[CauseFields]
    undecided: list[CauseFields]
    pivots: list[str]
    slips: list[str]
    verdict: SaidFields | None = None


class VerdictFields(Fields):
    """The verdict."""

    part: str | None
    say: str = ""
    repair: str = ""
    source: str = ""
    when: dict[str, Outcome | list[Outcome]] | None = None
    outcomes: dict[str, Outcome]
    ranking: list[RankedFields]
    certainty: Certainty | None = None
    stands: bool = False
