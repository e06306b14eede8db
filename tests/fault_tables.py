"""What became of the vehicles of a fault campaign: tables by kind, by plan, by the odds spoken."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

SPOKEN = (1.0, 2.0, 5.0, 10.0, 20.0, 35.0, 49.0)
"""Walls between the odds spoken."""

WHOLE = ("sound", "unseen")
"""Vehicles of which no test shows a fault."""


@dataclass(frozen=True)
class Outcome:
    """What became of one vehicle.

    Attributes:
        plan: that was walked.
        number: of the vehicle in its campaign.
        kind: of its fault; "unseen" if no test shows it, "sound" if it has none.
        drawn: the kind before it was looked at what the tests show.
        said: kind of the verdict.
        judged: right, neighbour or wrong, "suspected" before it for a suspicion; if no part is
            named the verdict, with a star if what is broken is among the candidates.
        odds: spoken with it.
        tests: that it took.
        story: the verdict against the truth, for people.
    """

    plan: str
    number: int
    kind: str
    drawn: str
    said: str
    judged: str
    odds: float
    tests: int
    story: str

    @property
    def true(self) -> bool:
        """Whether what was said with these odds is so."""
        match self.said:
            case "no fault":
                return self.kind in WHOLE
            case "none of these":
                return self.drawn in ("drift", "pair")
        return "right" in self.judged or self.judged.endswith("*")


def write(file: Path, outcome: Outcome) -> None:
    """Add one to a file, a line each."""
    with file.open("a") as out:
        out.write(json.dumps(asdict(outcome), ensure_ascii=False) + "\n")


def read(files: Collection[Path]) -> list[Outcome]:
    """The outcomes in some files."""
    return [Outcome(**json.loads(line)) for file in files for line in file.read_text().splitlines()]


def share(outcomes: Sequence[Outcome], holds: Callable[[Outcome], bool]) -> float:
    """Of the outcomes, how many hold; nought of none."""
    return sum(map(holds, outcomes)) / max(len(outcomes), 1)


def shown(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Those with a fault that some test shows."""
    return [one for one in outcomes if one.kind not in WHOLE]


def sound(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Those without a fault."""
    return [one for one in outcomes if one.drawn == "sound"]


def spoken(outcomes: Sequence[Outcome], low: float, high: float = float("inf")) -> list[Outcome]:
    """Verdicts with odds from `low` to below `high`; one that is not sure is told without any."""
    return [one for one in outcomes if low <= one.odds < high and one.said != "not sure"]


def by_kind(outcomes: Sequence[Outcome]) -> str:
    """Shares of the judgements, by kind of fault."""
    lines = []
    for kind in (*sorted({o.kind for o in outcomes}), "all"):
        here = [o for o in outcomes if kind in (o.kind, "all")]
        count = Counter(o.judged for o in here)
        cells = "  ".join(f"{k} {v / len(here):.0%}" for k, v in count.most_common())
        mean = sum(o.tests for o in here) / len(here)
        lines.append(f"  {kind:8}{len(here):4}  {mean:4.1f} tests  {cells}")
    return "\n".join(lines)


def by_plan(outcomes: Sequence[Outcome]) -> str:
    """The figures of each plan: of the faults that some test shows, and of sound vehicles."""
    lines = [
        f"{'':24}{'faults':>7}{'right':>8}{'suspected':>11}{'neighbour':>11}{'wrong':>8}"
        f"{'tests':>7}{'unseen':>8}{'sound':>7}{'convicted':>11}"
    ]
    for plan in (*dict.fromkeys(o.plan for o in outcomes), "all"):
        here = [o for o in outcomes if plan in (o.plan, "all")]
        seen, whole = shown(here), sound(here)
        judged = Counter(o.judged for o in seen)
        count = max(len(seen), 1)
        right, suspected, neighbour, wrong = (
            judged[name] / count for name in ("right", "suspected right", "neighbour", "wrong")
        )
        tests = sum(o.tests for o in here) / len(here)
        unseen = sum(o.kind == "unseen" for o in here)
        convicted = sum(o.said == "found" for o in whole)
        lines.append(
            f"{plan:24}{len(seen):7}{right:8.1%}{suspected:11.1%}{neighbour:11.1%}{wrong:8.1%}"
            f"{tests:7.1f}{unseen:8}{len(whole):7}{convicted:11}"
        )
    return "\n".join(lines)


def reliability(outcomes: Sequence[Outcome]) -> str:
    """Of the verdicts spoken with some odds, how many are right: a table and a plot.

    The bar is the share that is right, the mark | where it would be if the odds were exact.
    """
    lines = [f"{'odds spoken':>14}{'verdicts':>10}{'promised':>10}{'right':>8}"]
    for low, high in zip((0.0, *SPOKEN), (*SPOKEN, float("inf")), strict=True):
        here = spoken(outcomes, low, high)
        if not here:
            continue
        promised = sum(o.odds / (1 + o.odds) for o in here) / len(here)
        right = share(here, lambda o: o.true)
        plot = ["#" if k < round(40 * right) else " " for k in range(41)]
        plot[round(40 * promised)] = "|"
        name = f"{low:.0f} to {high:.0f}" if high < float("inf") else f"{low:.0f}"
        lines.append(f"{name:>14}{len(here):10}{promised:10.1%}{right:8.1%}  {''.join(plot)}")
    for said in ("found", "suspicion", "no fault", "none of these", ""):
        here = [o for o in spoken(outcomes, 20.0) if said in (o.said, "")]
        text = f"{sum(o.true for o in here)} of {len(here)}" if here else "never"
        lines.append(f"  at 20:1 and above, {said or 'all verdicts'}: right {text}")
    return "\n".join(lines)
