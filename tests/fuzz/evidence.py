"""What stands in a job: lines of its log, and sweeps that are imported."""

from __future__ import annotations

import functools
import random
import re
import sys
from decimal import Decimal
from pathlib import Path

from handsfree.check import judge_sweep, limits_of
from handsfree.dialogue import Session
from handsfree.events import Codec
from handsfree.job.sweeps import read_points
from handsfree.log.chain import holds_whole_event, scan
from handsfree.log.record import decoded
from handsfree.log.standing import standing_readings, to_csv
from handsfree.plan import Plan, load_plan, parse_plan
from handsfree.units import show
from tests.fuzz.case import Outcome, need, tried
from tests.fuzz.mutate import changed_bytes, changed_text

sys.path.insert(0, str(Path(__file__).parents[1]))
import test_log_damaged as damaged

_JOBS = sorted(path.name for path in damaged.GOLDEN.iterdir())


@functools.cache
def _job(name: str) -> tuple[bytes, Plan]:
    folder = damaged.GOLDEN / name
    plan = parse_plan((folder / "plan.yaml").read_text(encoding="utf-8"), "plan.yaml")
    return (folder / "events.jsonl").read_bytes(), plan


def events(rng: random.Random) -> Outcome:
    """Lines of a log with nonsense in their fields, whose every hash holds."""
    data, plan = _job(rng.choice(_JOBS))
    change = rng.choice((damaged.fields_changed, damaged.fields_changed, damaged.lines_changed))
    lines = scan(change(_few(data, rng), rng)).events

    def read() -> None:
        found = decoded(Codec(plan), lines, Path("fuzzed"))
        Session.of(logged.event for logged in found)
        standing_readings(found)
        to_csv(found, history=True)

    return tried(read)


def chain(rng: random.Random) -> Outcome:
    """Bytes of a log changed anywhere: told as damage, and never as whole."""
    data, _ = _job(rng.choice(_JOBS))
    data = _few(data, rng, from_start=True)
    changed = changed_bytes(data, rng)
    found = scan(changed)
    holds_whole_event(found.tail)
    whole = not found.flaws and not found.tail
    if whole and changed != data:
        need(data.startswith(changed), "a changed log passes as whole")
    return "taken" if whole else "refused"


def _few(data: bytes, rng: random.Random, *, from_start: bool = False) -> bytes:
    """Lines of a log from its start."""
    lines = data.splitlines(keepends=True)
    most = rng.choice((6, 12, 12, len(lines)))
    return b"".join(lines[:most])


_SWEEPS = (
    "command,feedback\n0,0.6\n25,1.5\n50,2.5\n75,3.5\n100,4.4\n50,2.6\n0,0.6\n",
    'Command, Feedback\r\n"0","0.6"\r\n25,1.5\r\n50,1.5\r\n75,3.5\r\n100,4.4\r\n',
    "time,feedback,command,note\n1,0.6,0,\n2,2.5,50,x\n3,4.4,100,\n",
)
_CELLS = (
    "1e308",
    "-1e308",
    "1e-320",
    "nan",
    "inf",
    "1_0",
    "１２",
    " 5 ",
    "+5",
    "5e0",
    "0x10",
    "-0",
)
_DECIMAL = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?", re.ASCII | re.IGNORECASE)


@functools.cache
def _limits() -> object:
    return limits_of(load_plan("flap-actuator-5wire").plan)


def sweep(rng: random.Random) -> Outcome:
    """A sweep from CSV, judged; every value is one that stands there."""
    text = rng.choice(_SWEEPS)
    if rng.random() < 0.3:
        rows = [f"{rng.uniform(0, 100):.3g},{rng.choice(_CELLS)}" for _ in range(rng.randrange(9))]
        text = "\n".join(["command,feedback", *rows, ""])
    if rng.random() < 0.8:
        text = changed_text(text, rng, _CELLS, 3)

    def read() -> None:
        points = read_points(text, "fuzzed.csv", "V")
        cells = [cell.strip(' \t"\x0b\x0c') for cell in re.split(r"[,\r\n]", text)]
        there = {float(Decimal(cell)) for cell in cells if _DECIMAL.fullmatch(cell)}
        for point in points:
            for value in point:
                need(float(value.magnitude) in there, f"{value} does not stand in {text!r}")
        for fault in judge_sweep(points, _limits()):
            for value in (fault.command, fault.value):
                need(value is None or "nan" not in show(value), f"{fault} of {text!r}")

    return tried(read)
