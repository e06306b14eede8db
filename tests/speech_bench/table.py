"""The results as tables on the screen, as a JSON file, and as a reliability plot."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from rich.console import Console
from rich.table import Table

from .false_triggers import Triggers, by_kind
from .outcome import Outcome
from .outside import WORST, Response
from .score import Figure, Row, calibration_error, causes, hourly, reliability

#: What was set out to be reached: condition to right, silent wrong and asked.
GOALS = {
    "quiet": (0.99, 0.001, 0.05),
    "20dB": (0.98, 0.002, 0.06),
    "10dB": (0.96, 0.005, 0.10),
    "5dB": (0.90, 0.01, 0.20),
    "3 digits, human": (0.98, 0.005, 0.08),
}
_CAUSES = 25


def _percent(figure: Figure | None, goal: float | None = None, *, least: bool = False) -> str:
    if figure is None:
        return "–"
    text = f"{100 * figure.value:.1f} [dim]{100 * figure.low:.1f}–{100 * figure.high:.1f}[/]"
    if goal is None:
        return text
    met = figure.value >= goal if least else figure.value <= goal
    return f"[{'green' if met else 'red'}]{text}[/]"


def show(console: Console, title: str, rows: Sequence[Row]) -> None:
    """The main tables, per condition: values, then everything else."""
    caption = "percent, 95 % intervals; green: the goal is reached"
    values = _table(title, caption, "condition", "values", "value+wire right", "right at once",
                    "silent wrong", "wrong after asking", "asked")  # fmt: skip
    others = _table("", "", "condition", "command right", "value on command", "other act on value",
                    "word error rate", "decode, cpu / sound", "beyond silence p50, p95 s",
                    "delay p50, p95 s")  # fmt: skip
    for row in rows:
        right, wrong, asked = GOALS.get(row.condition, (None, None, None))
        values.add_row(
            row.condition,
            str(row.right.cases if row.right else 0),
            _percent(row.right, right, least=True),
            _percent(row.at_once),
            _percent(row.silent_wrong, wrong),
            _percent(row.wrong_after),
            _percent(row.asked, asked),
        )
        others.add_row(
            row.condition,
            _percent(row.command),
            _percent(row.false_value),
            _percent(row.other_act),
            _percent(row.words),
            f"{row.decode:.2f}, {row.decode_cpu:.2f}",
            *(f"{p50:.2f}, {p95:.2f}" for p50, p95 in (row.beyond, row.delay)),
        )
    console.print(values, others)


def _table(title: str, caption: str, first: str, *heads: str) -> Table:
    table = Table(title=title or None, caption=caption or None)
    table.add_column(first, no_wrap=True)
    for head in heads:
        table.add_column(head, justify="right", no_wrap=True)
    return table


def show_outside(console: Console, found: list[Response]) -> None:
    """What came of speech that is no reading and no command, by kind, and what went wrong."""
    shown = Table(title="outside the grammar: logged, obeyed, asked about an invented value")
    for name in ("kind", "said", *WORST):
        shown.add_column(name, justify="left" if name == "kind" else "right")
    for kind in (*dict.fromkeys(r.kind for r in found), ""):
        some = [r.came for r in found if not kind or r.kind == kind]
        shares = [f"{some.count(came) / len(some):.1%}" for came in WORST]
        shown.add_row(kind or "all", str(len(some)), *shares)
    console.print(shown)
    for one in found:
        if one.came in WORST[:3]:
            console.print(f"{one.came}: {one.text!r} heard {one.heard!r} ({one.voice})")


def show_triggers(console: Console, found: Sequence[Triggers]) -> None:
    """False triggers an hour."""
    table = Table(title="Nobody speaks to the tool: an hour", caption="95 % Poisson intervals")
    for head in ("sound", "minutes", "acts", "acts an hour", "questions an hour"):
        table.add_column(head, justify="left" if head == "sound" else "right")
    for kind, seconds, acts, questions in by_kind(list(found)):
        rates = [hourly(n, seconds) for n in (acts, questions)]
        cells = [f"{f.value:.1f} [dim]{f.low:.1f}–{f.high:.1f}[/]" if f else "–" for f in rates]
        table.add_row(kind, f"{seconds / 60:.1f}", str(acts), *cells)
    console.print(table)


def show_causes(console: Console, outcomes: Sequence[Outcome]) -> None:
    """What was taken for what, where a value was not right at once."""
    table = Table(title="Values not right at once, by cause")
    table.add_column("said → heard")
    table.add_column("times", justify="right")
    for cause, times in causes(outcomes)[:_CAUSES]:
        table.add_row(cause, str(times))
    console.print(table)
    wrong = [o for o in outcomes if o.silent_wrong]
    if wrong:
        table = Table(title="Silent wrong commits")
        for head in ("condition", "voice", "noise", "said", "heard", "share"):
            table.add_column(head)
        for o in wrong[:_CAUSES]:
            belief = "" if o.share is None else f"{o.share:.2f}"
            table.add_row(o.condition, o.voice, o.noise, o.text, o.heard, belief)
        console.print(table)


def show_reliability(console: Console, outcomes: Sequence[Outcome]) -> None:
    """Belief against truth."""
    bins = reliability(outcomes)
    error = calibration_error(bins)
    table = Table(title=f"Belief and truth (expected calibration error {error:.3f})")
    for head in ("belief", "right", "cases"):
        table.add_column(head, justify="right")
    for one in bins:
        table.add_row(f"{one['belief']:.2f}", f"{one['right']:.2f}", str(one["cases"]))
    console.print(table)


def save(path: Path, about: dict[str, Any], rows: Iterable[Row], outcomes: Sequence[Outcome],
         found: Sequence[Triggers]) -> None:  # fmt: skip
    """Everything as JSON; the outcomes one a line beside it."""
    path.parent.mkdir(parents=True, exist_ok=True)
    silent = [
        {
            "sound": kind,
            "seconds": seconds,
            "acts": acts,
            "questions": questions,
            "acts_hourly": figure.plain() if (figure := hourly(acts, seconds)) else None,
        }
        for kind, seconds, acts, questions in by_kind(list(found))
    ]
    result = {
        **about,
        "conditions": [row.plain() for row in rows],
        "false_triggers": silent,
        "triggered_by": [text for t in found for text in t.what],
        "reliability": reliability(outcomes),
        "causes": [{"cause": c, "times": n} for c, n in causes(outcomes)],
    }
    path.write_text(json.dumps(result, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    lines = (json.dumps(_plain(o), ensure_ascii=False) for o in outcomes)
    path.with_suffix(".jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    _plot(path.with_suffix(".png"), outcomes)


def _plain(outcome: Outcome) -> dict[str, Any]:
    return {name: getattr(outcome, name) for name in outcome.__slots__}


def _plot(path: Path, outcomes: Sequence[Outcome]) -> None:
    """The reliability plot, where matplotlib is installed."""
    try:
        import matplotlib  # type: ignore[import-not-found]
    except ImportError:
        return
    matplotlib.use("Agg")
    from matplotlib import pyplot

    bins = reliability(outcomes)
    figure, axes = pyplot.subplots(figsize=(4, 4))
    axes.plot([0, 1], [0, 1], color="gray", linewidth=1)
    axes.plot([b["belief"] for b in bins], [b["right"] for b in bins], "o-")
    axes.set(xlabel="belief", ylabel="share that is right", xlim=(0, 1), ylim=(0, 1))
    figure.tight_layout()
    figure.savefig(path, dpi=120)
    pyplot.close(figure)
