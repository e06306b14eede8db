"""`python -m tests.fuzz`: inputs of chance for everything that reads, with a table at its end.

    input, tried, refused with a message, taken, lost (must be 0), slowest case, cases a second

A case is lost if it raises anything but an error for people, warns, takes longer than `LONGEST`
or more memory than `MEMORY`, or lets in what was not said or is not so.  The same seed tries the
same inputs.
"""

from __future__ import annotations

import argparse
import os
import random
import resource
import signal
import sys
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable
from pathlib import Path
from types import FrameType

from tests.fuzz import evidence, page, plans, sound, speech

LONGEST = 5.0
"""Seconds of a case, at most, if no other limit is asked for."""
MEMORY = 2 << 30
"""Bytes that a target may ask for, above what the program has when it begins."""
SHOWN = 5
"""Cases that were lost, of each target, that are described."""
TARGETS = {
    "plans": plans.plan,
    "grammars": plans.grammar,
    "numbers": speech.numbers,
    "meanings": speech.meaning,
    "dialogues": speech.dialogue,
    "events": evidence.events,
    "chain": evidence.chain,
    "sweeps": evidence.sweep,
    "sounds": sound.sound,
    "page": page.page,
}

READ_FIRST: dict[str, Callable[[], object]] = {
    "plans": plans.spoken_once,
    "numbers": speech.number_grammar,
    "meanings": speech.warm,
    "dialogues": speech.warm,
    "page": page.site,
}


class TooLong(BaseException):
    """A case takes longer than `LONGEST`; no `except Exception` swallows it."""


def _stop(signum: int, frame: FrameType | None) -> None:
    raise TooLong("took too long")


def run(name: str, count: int, seed: int, longest: float) -> tuple[Counter[str], float, float]:
    """Outcomes of the cases of a target, seconds of the slowest, and of all."""
    outcomes, slowest, case = Counter[str](), 0.0, TARGETS[name]
    if name in READ_FIRST:
        READ_FIRST[name]()  # what is read once is no case
    began = time.monotonic()
    for number in range(count):
        at = time.monotonic()
        signal.setitimer(signal.ITIMER_REAL, longest)
        try:
            outcomes[case(random.Random(f"{seed} {name} {number}"))] += 1
        except (Exception, TooLong) as error:
            signal.setitimer(signal.ITIMER_REAL, 0)
            outcomes["lost"] += 1
            if outcomes["lost"] <= SHOWN:
                place = traceback.extract_tb(error.__traceback__)[-1]
                where = f"{Path(place.filename).name}:{place.lineno}"
                what = f"{type(error).__name__}: {str(error)[:600]}"
                print(f"{name}, case {number}: {what} ({where})", file=sys.stderr)
        signal.setitimer(signal.ITIMER_REAL, 0)
        slowest = max(slowest, time.monotonic() - at)
    return outcomes, slowest, time.monotonic() - began


def main() -> int:
    """Run every target; 1 if anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--longest", type=float, default=LONGEST, help="seconds of a case")
    parser.add_argument("--cases", type=int, default=100_000, help="of each target")
    parser.add_argument(
        "--only", nargs="+", default=list(TARGETS), help="targets: NAME or NAME=CASES"
    )
    asked = parser.parse_args()
    warnings.simplefilter("error")
    signal.signal(signal.SIGALRM, _stop)
    held = int(Path("/proc/self/statm").read_text().split()[0]) * os.sysconf("SC_PAGE_SIZE")
    resource.setrlimit(resource.RLIMIT_AS, (held + MEMORY, resource.RLIM_INFINITY))
    lost, table = 0, []
    for target in asked.only:
        name, _, own = target.partition("=")
        count = int(own or asked.cases)
        found, slowest, seconds = run(name, count, asked.seed, asked.longest)
        lost += found["lost"]
        row = [count, found["refused"], found["taken"], found["lost"]]
        table.append([name, *row, f"{slowest:.2f}", round(count / max(seconds, 1e-9))])
        print(f"{name}: {count} tried, {found['lost']} lost", file=sys.stderr, flush=True)
    print(f"\n| input (seed {asked.seed}) | tried | refused | taken | lost | slowest/s | cases/s |")
    print("|---|---|---|---|---|---|---|")
    for line in table:
        print(f"| {' | '.join(map(str, line))} |")
    return int(lost > 0)


if __name__ == "__main__":
    sys.exit(main())
