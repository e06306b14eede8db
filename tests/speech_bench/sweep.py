"""Thresholds compared on the tuning split, from what was heard before: nothing is decoded."""

from __future__ import annotations

import importlib
import itertools
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager

from rich.console import Console
from rich.table import Table

from .hearing import Listener
from .outcome import first_turn
from .trials import Trial

#: Where each threshold is defined.
_HOMES = {
    "RIVAL_SHARE": "handsfree.meaning.interpret",
    "LEAST_SHARE": "handsfree.meaning.interpret",
    "SURE_VALUE": "handsfree.dialogue.respond",
    "SURE_ONE_WORD": "handsfree.dialogue.respond",
}
VALUES = {
    "RIVAL_SHARE": (0.05, 0.1, 0.15, 0.25, 0.5),
    "LEAST_SHARE": (0.02, 0.1, 0.3),
    "SURE_VALUE": (0.5, 0.7, 0.8, 0.85, 0.9),
}


@contextmanager
def thresholds(values: Mapping[str, float]) -> Iterator[None]:
    """The product with other thresholds."""
    modules = {name: importlib.import_module(_HOMES[name]) for name in values}
    before = {name: getattr(modules[name], name) for name in values}
    try:
        for name, value in values.items():
            setattr(modules[name], name, value)
        yield
    finally:
        for name, value in before.items():
            setattr(modules[name], name, value)


def sweep(trials: Sequence[Trial], listener: Listener, console: Console) -> None:
    """Every combination of thresholds, least silently wrong first."""
    values = [trial for trial in trials if trial.phrase.is_value]
    lines = []
    for combination in itertools.product(*VALUES.values()):
        chosen = dict(zip(VALUES, combination, strict=True))
        with thresholds(chosen):
            found = [first_turn(trial, listener) for trial in values]
        did = Counter(name for name, _ in found)
        right = did["right"] + sum(mended for _, mended in found)
        asked = did["asked"] + did["refused"]
        lines.append((did["silent wrong"], asked, right, did["other act"], chosen))
    table = Table(title=f"Thresholds on {len(values)} values, best first; counts")
    for head in (*VALUES, "silent wrong", "asked", "right within one question", "other act"):
        table.add_column(head, justify="right")
    for wrong, asked, right, other, chosen in sorted(lines, key=lambda x: (x[0], x[1])):
        cells = [*chosen.values(), wrong, asked, right, other]
        table.add_row(*map(str, cells))
    console.print(table)
