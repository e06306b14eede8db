"""A shift of twelve hours in one job: python tests/long_job.py [READINGS]

5,000 readings, if no number is given, each with its sound, typed into the dialogue as fast as it
takes them while the job's clock goes on by twelve hours.  Printed are, of each tenth, the median
and the 95th percentile of the time that a reading takes (dialogue, sound, log with its fsyncs), and
the memory; at the end how long it takes to verify the job and to take it up again.
"""

from __future__ import annotations

import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
from small_jobs import BEGAN, a_plan, flac, ticking

from handsfree.dialogue import Dialogue
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.languages import load_language
from handsfree.log import open_job, verify

HOURS, LOOKS = 12, 9  # times that the clock is looked at in a reading
SAID = tuple(f"twelve point {digit} volts" for digit in ("four", "five", "six", "seven", "eight"))


def megabytes() -> float:
    """Memory that this process holds now."""
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * resource.getpagesize() / 1e6


def main(readings: int) -> None:
    """One shift, and the table of its tenths."""
    plan, tenth = a_plan(), max(1, readings // 10)
    dialogue = Dialogue(plan.plan, load_language("en"))
    text, title = plan.text.encode(), plan.plan.title
    sounds = [flac(number) for number in range(10)]
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made) / "job"
        clock = ticking(BEGAN, HOURS * 3600 / (readings * LOOKS))
        with open_job(folder, text, title=title, clock=clock) as log:
            job = Job(dialogue, log, lambda _: None, lambda _: None)
            job.begin()
            seconds: list[float] = []
            print("| readings | median ms | p95 ms | memory MB |\n|---|---|---|---|")
            for number in range(1, readings + 1):
                began = time.perf_counter()
                job.hear(Heard.of_text(SAID[number % len(SAID)]), sounds[number % 10])
                seconds.append(time.perf_counter() - began)
                job.hear(Heard.of_text("go back"))
                if number % tenth == 0:
                    middle, high = np.quantile(seconds, [0.5, 0.95]) * 1e3
                    print(
                        f"| {number} | {middle:.1f} | {high:.1f} | {megabytes():.0f} |", flush=True
                    )
                    seconds.clear()
            events, last = len(log.lines), log.lines[-1].time
            taken = len(job.session.entries)
        began = time.perf_counter()
        result = verify(folder)
        verified = time.perf_counter()
        with open_job(folder, text, title=title, clock=clock) as log:
            again = Job(dialogue, log, lambda _: None, lambda _: None)
            same = again.session == job.session
        resumed = time.perf_counter()
    state = "as written" if result.ok else result.problems
    print(f"{taken} readings, {events} events until {last}; {state}")
    print(f"verified in {verified - began:.1f} s, taken up in {resumed - verified:.1f} s, ", end="")
    print("the same session" if same else "ANOTHER SESSION")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
