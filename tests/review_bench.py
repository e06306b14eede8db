"""How the page over all jobs bears a shop's whole life.

`python tests/review_bench.py [JOBS] [--postgresql]`: with the index in a file, or on a server of
its own.

Aims, for 10,000 jobs with 1,000,000 readings: list and search in 100 ms at the 95th percentile,
the first index in 10 minutes, a new job in 50 ms, 300 MB of memory; for a job of 1,000 readings its
report in 2 s as HTML, in 10 s as PDF.  The jobs are event files of made-up readings, scattered
around those of the jobs in `tests/data/golden`.
"""

from __future__ import annotations

import json
import os
import random
import resource
import shutil
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import quote

from review_server import Served, postgresql
from sqlalchemy import Engine

from handsfree.log import chain, read
from handsfree.report.file import report_file
from handsfree.review.index import JobIndex, Wanted
from handsfree.review.jobs import Shop
from handsfree.review.tables import local_engine, shared_engine

GOLDEN = Path(__file__).parent / "data" / "golden"
#: Jobs of different plans, whose lines are the patterns.
PATTERNS = ("demo-open-winding", "whole-session", "left-open")
READINGS = 100
PLACES = [
    "north",
    "south",
    "east",
    "west",
    "hill",
    "mill",
    "harbour",
    "market",
    "station",
    "airport",
]
KINDS = ["panel van", "tipper", "bus", "tow truck", "sweeper", "forklift"]
NOTES = [
    "rust",
    "corroded",
    "loose",
    "chafed",
    "wet",
    "bent",
    "cold",
    "joint",
    "burnt",
    "missing",
    "seal",
]


def lines(
    pattern: list[chain.Line], number: int, chance: random.Random, count: int
) -> Iterator[bytes]:
    """A log of so many readings that follows a pattern."""
    opening = {**pattern[0].fields}
    opening["subject"] = {
        "vehicle": f"{chance.choice(KINDS)}, {chance.choice(PLACES)} {number}",
        "registration": f"HF {number:05d}",
        "technician": f"Technician {number % 40}",
        "order": f"R-{number}",
    }
    readings = [line for line in pattern if line.kind == "reading"]
    heard = next(line for line in pattern if line.kind == "heard")
    day = f"20{10 + number % 16:02d}-{1 + number % 12:02d}-{1 + number % 28:02d}"
    told: list[tuple[str, dict[str, Any]]] = [("opened", opening)]
    for taken in range(1, count + 1):
        fields = {**chance.choice(readings).fields, "number": taken}
        for name in ("supersedes", "corrects", "heard", "clip"):
            fields.pop(name, None)
        if isinstance(fields["value"], float | int) and not isinstance(fields["value"], bool):
            fields["value"] = round(float(fields["value"]) * chance.gauss(1, 0.05), 3)
            fields["spoken"] = str(fields["value"])
        spoken = {
            **heard.fields,
            "text": f"{fields.get('wire')} {fields['value']} {fields['unit']}",
        }
        spoken.pop("clip", None), spoken.pop("clip_sha256", None)
        told += [("heard", spoken), ("reading", fields), ("said", {"text": "next"})]
    told.append(("note", {"text": " ".join(chance.choices(NOTES, k=4)), "verified": False}))
    verdict = [line for line in pattern if line.kind in ("verdict", "finished")]
    told += [(line.kind, dict(line.fields)) for line in verdict]
    prev = chain.NOTHING
    for seq, (kind, fields) in enumerate(told, 1):
        at = f"{day}T{8 + seq // 3600:02d}:{seq // 60 % 60:02d}:{seq % 60:02d}.000000Z"
        line = chain.encode(seq, at, kind, fields, prev)
        prev = chain.digest(line)
        yield line


def make(
    jobs: Path,
    number: int,
    patterns: list[tuple[Path, list[chain.Line]]],
    count: int = READINGS,
) -> Path:
    chance = random.Random(number)
    source, pattern = patterns[number % len(patterns)]
    folder = jobs / f"job-{number:05d}"
    folder.mkdir()
    (folder / "events.jsonl").write_bytes(b"".join(lines(pattern, number, chance, count)))
    shutil.copyfile(source / "plan.yaml", folder / "plan.yaml")
    written = datetime(2010 + number % 16, 1, 1, tzinfo=UTC).timestamp()
    os.utime(folder / "events.jsonl", (written, written))
    return folder


def percentile(what: Callable[[int], object], times: int) -> tuple[float, float]:
    """Median and 95th percentile in milliseconds."""
    taken = []
    for turn in range(times):
        begun = time.perf_counter()
        what(turn)
        taken.append(1000 * (time.perf_counter() - begun))
    taken.sort()
    return taken[len(taken) // 2], taken[int(0.95 * len(taken))]


@contextmanager
def index_file(folder: Path) -> Iterator[Engine]:
    yield local_engine(folder / "index.sqlite")


@contextmanager
def index_server(folder: Path) -> Iterator[Engine]:
    with postgresql() as address:
        yield shared_engine(address)


def main(count: int, index: Callable[[Path], AbstractContextManager[Engine]]) -> None:
    patterns = [(GOLDEN / name, read(GOLDEN / name)) for name in PATTERNS]
    found: dict[str, Any] = {"jobs": count, "readings": count * READINGS}
    with ExitStack() as stack:
        folder = Path(stack.enter_context(TemporaryDirectory(prefix="review-bench-")))
        engine = stack.enter_context(index(folder))
        jobs = folder / "jobs"
        jobs.mkdir()
        begun = time.perf_counter()
        for number in range(count):
            make(jobs, number, patterns)
        found["made in s"] = round(time.perf_counter() - begun)
        print(found, flush=True)
        shop = Shop(jobs, JobIndex(engine))
        begun = time.perf_counter()
        shop.look()
        found["first index in s"] = round(time.perf_counter() - begun, 1)
        if (file := folder / "index.sqlite").exists():
            found["index MB"] = round(file.stat().st_size / 1e6)
        assert shop.index.find(Wanted()).total == count
        assert not any(row.damage for row in shop.index.find(Wanted()).jobs)
        print(found, flush=True)
        served = Served(shop)
        plans = shop.index.choices()["plan"]
        words = ["rust", "harbour", "12.6", "tow truck", '"cold joint"', "technic", "V", "HF 00007"]
        asked = {
            "list": lambda n: served.text(f"/?page={1 + n % 20}"),
            "search": lambda n: served.text(f"/?words={quote(words[n % len(words)])}"),
            "filter": lambda n: served.text(
                f"/?plan={quote(plans[n % len(plans)])}&technician=Technician%20{n % 40}"
            ),
        }
        for what, ask in asked.items():
            found[f"{what}: median, p95 in ms"] = [round(t, 1) for t in percentile(ask, 200)]
        print(found, flush=True)

        def new(turn: int) -> None:
            shop._looked = -1e9
            shop.look()

        found["look, nothing new: median, p95 in ms"] = [round(t, 1) for t in percentile(new, 20)]
        ready = folder / "ready"
        ready.mkdir()
        for number in range(count, count + 20):
            make(ready, number, patterns)

        def added(turn: int) -> None:
            shop._looked = -1e9
            shop.look()

        taken = []
        for one in sorted(ready.iterdir()):
            one.rename(jobs / one.name)
            taken.append(percentile(added, 1)[0])
        found["after a new job: median in ms"] = round(sorted(taken)[len(taken) // 2], 1)
        plan = quote(plans[0])
        slow = percentile(lambda _: served.text(f"/plan?title={plan}"), 3)
        found["what is usual along a plan: median in ms"] = round(slow[0])
        served.close()
        shop.index.close()
        found["memory MB"] = round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
        large = make(folder, count, patterns, 1000)
        for ending in ("html", "pdf"):
            begun = time.perf_counter()
            report_file(large, folder / f"report.{ending}")
            spent = round(time.perf_counter() - begun, 1)
            found[f"report of 1,000 readings as {ending} in s"] = spent
    print(json.dumps(found, indent=1))


if __name__ == "__main__":
    numbers = [int(given) for given in sys.argv[1:] if given.isdigit()]
    server = "--postgresql" in sys.argv[1:]
    main(numbers[0] if numbers else 10_000, index_server if server else index_file)
