"""From outcomes to figures with their 95 % confidence intervals."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import jiwer
import numpy as np
from numpy.typing import ArrayLike
from scipy.stats import binomtest, bootstrap, chi2

from .outcome import Outcome

CONFIDENCE = 0.95
_RESAMPLES = 2000


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure with its confidence interval and the number of cases it rests on."""

    value: float
    low: float
    high: float
    cases: int

    def plain(self) -> dict[str, float | int]:
        """As JSON values."""
        return {"value": self.value, "low": self.low, "high": self.high, "cases": self.cases}


def share(hits: Iterable[bool]) -> Figure | None:
    """A share with a bootstrap interval; where all cases are alike the exact binomial one.

    All alike, every bootstrap sample is the same and says nothing (Clopper and Pearson, 1934).
    """
    cases = np.array(list(hits), float)
    if not len(cases):
        return None
    mean = float(cases.mean())
    if mean in (0.0, 1.0):
        exact = binomtest(int(cases.sum()), len(cases)).proportion_ci(CONFIDENCE)
        return Figure(mean, float(exact.low), float(exact.high), len(cases))
    return _bootstrapped(np.mean, cases)


def word_error_rate(pairs: Sequence[tuple[str, str]]) -> Figure | None:
    """jiwer's word error rate over (reference, hypothesis), bootstrapped by utterance."""
    counts = []
    for reference, hypothesis in pairs:
        if not hypothesis.strip():
            counts.append((len(reference.split()),) * 2)
            continue
        found = jiwer.process_words(reference, hypothesis)
        errors = found.substitutions + found.deletions + found.insertions
        counts.append((errors, len(reference.split())))
    if not counts:
        return None
    errors, words = np.array(counts, float).T

    def rate(e: ArrayLike, w: ArrayLike, axis: int = -1) -> Any:
        return np.sum(e, axis=axis) / np.sum(w, axis=axis)

    return _bootstrapped(rate, errors, words)


def _bootstrapped(statistic: Callable[..., Any], *samples: Any) -> Figure:
    value, cases = float(statistic(*samples)), len(samples[0])
    if cases < 2:
        return Figure(value, value, value, cases)
    found = bootstrap(
        samples,
        statistic,
        paired=len(samples) > 1,
        vectorized=True,
        n_resamples=_RESAMPLES,
        confidence_level=CONFIDENCE,
        method="percentile",
        rng=np.random.default_rng(1),
    ).confidence_interval
    return Figure(value, float(found.low), float(found.high), cases)


def hourly(events: int, seconds: float) -> Figure | None:
    """Events an hour with the exact Poisson interval (Garwood, 1936)."""
    if not seconds:
        return None
    tail = (1 - CONFIDENCE) / 2
    hours = seconds / 3600
    low = float(chi2.ppf(tail, 2 * events)) / 2 if events else 0.0
    high = float(chi2.ppf(1 - tail, 2 * events + 2)) / 2
    return Figure(events / hours, low / hours, high / hours, events)


@dataclass(frozen=True, slots=True)
class Row:
    """The figures of one condition; a figure is None where nothing was measured."""

    condition: str
    right: Figure | None
    at_once: Figure | None
    silent_wrong: Figure | None
    wrong_after: Figure | None
    asked: Figure | None
    other_act: Figure | None
    command: Figure | None
    false_value: Figure | None
    words: Figure | None
    decode: float
    decode_cpu: float
    beyond: tuple[float, float]
    delay: tuple[float, float]

    def plain(self) -> dict[str, Any]:
        """As JSON values."""
        values = ((name, getattr(self, name)) for name in self.__slots__)
        return {n: v.plain() if isinstance(v, Figure) else v for n, v in values}


def row(condition: str, outcomes: Sequence[Outcome]) -> Row:
    """The figures of one condition.

    The columns about values are over the phrases that ought to log one; `command` and
    `false_value` over the others.
    """
    values = [o for o in outcomes if o.value]
    others = [o for o in outcomes if not o.value]
    sound = sum(o.seconds for o in outcomes)
    said = [(o.text, o.heard.replace(" / ", " ")) for o in outcomes if not _free(o)]
    return Row(
        condition,
        right=share(o.after_one for o in values),
        at_once=share(o.at_once for o in values),
        silent_wrong=share(o.silent_wrong for o in values),
        wrong_after=share(o.wrong_after for o in values),
        asked=share(o.asked for o in values),
        other_act=share(o.other_act for o in values),
        command=share(o.at_once for o in others),
        false_value=share(o.silent_wrong for o in others),
        words=word_error_rate(said),
        decode=sum(o.decode for o in outcomes) / sound if sound else float("nan"),
        decode_cpu=sum(o.cpu for o in outcomes) / sound if sound else float("nan"),
        beyond=_p50_p95([d for o in outcomes for d in o.beyond]),
        delay=_p50_p95([d for o in outcomes for d in o.delays]),
    )


def _p50_p95(times: Sequence[float]) -> tuple[float, float]:
    if not times:
        return float("nan"), float("nan")
    return float(np.percentile(times, 50)), float(np.percentile(times, 95))


def _free(outcome: Outcome) -> bool:
    """Whether the words are free: the text of a note is no matter of the grammar."""
    return outcome.text.startswith(("note ", "take a note"))


def reliability(outcomes: Iterable[Outcome], bins: int = 10) -> list[dict[str, float | int]]:
    """Belief against truth in bins of equal width: what is said with 0.8 should be right at 0.8."""
    known = [(o.share, o.first_right) for o in outcomes if o.share is not None]
    table: list[dict[str, float | int]] = []
    for number in range(bins):
        inside = [(s, r) for s, r in known if min(int(s * bins), bins - 1) == number]
        if inside:
            belief = float(np.mean([s for s, _ in inside]))
            right = float(np.mean([r for _, r in inside]))
            table.append({"belief": belief, "right": right, "cases": len(inside)})
    return table


def calibration_error(table: Sequence[dict[str, float | int]]) -> float:
    """Expected calibration error (Naeini et al., 2015) of a reliability table."""
    cases = sum(b["cases"] for b in table)
    return sum(b["cases"] * abs(b["belief"] - b["right"]) for b in table) / cases if cases else 0.0


def causes(outcomes: Iterable[Outcome]) -> list[tuple[str, int]]:
    """Why values came out wrong: words exchanged, left out or added, most frequent first."""
    found: Counter[str] = Counter()
    for o in outcomes:
        if o.at_once or not o.value:
            continue
        heard = o.heard.replace(" / ", " ")
        if not heard.strip():
            found["nothing heard"] += 1
            continue
        aligned = jiwer.process_words(o.text, heard)
        said, got = aligned.references[0], aligned.hypotheses[0]
        for chunk in aligned.alignments[0]:
            before = " ".join(said[chunk.ref_start_idx : chunk.ref_end_idx])
            after = " ".join(got[chunk.hyp_start_idx : chunk.hyp_end_idx])
            if chunk.type != "equal":
                found[f"{before or '(nothing)'} → {after or '(nothing)'}"] += 1
        if o.text == heard:
            found[f"words right, but {o.did}"] += 1
    return found.most_common()
