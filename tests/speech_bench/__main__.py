"""Measure how far spoken numbers can be trusted: `make bench-speech`.

    python -m tests.speech_bench --limit 30
    python -m tests.speech_bench --final --engine whisper --conditions quiet,5dB,human
    python -m tests.speech_bench --strangers --limit 30

Without --final only the tuning split is touched.  Phrases, voices and noises come in shuffled
blocks, so that a smaller --limit, or a run that is stopped by --minutes, is an unbiased but
wider estimate.  With --strangers it says the phrases with accents, voices, noises and links of
which nothing was learnt; with --final too, with those of which nothing was tuned either.  What
was heard is kept in the user's cache folder; a run goes on where an earlier one stopped, unless
the engines, the grammar or the sounds have changed since.
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import platform
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from datetime import UTC, datetime
from itertools import groupby, islice
from pathlib import Path
from typing import Any, TypeVar

from rich.console import Console
from rich.progress import track

from handsfree.dialogue.voice_record import UNHEARD

from . import table
from .conditions import CONDITIONS
from .enrolment import enrolled
from .false_triggers import Triggers, pieces, triggers
from .fit import fit
from .front_ends import FRONT_ENDS
from .hearing import Listener, Records, fingerprint
from .human import absent, human_trials, single_words
from .outcome import Outcome, outcome
from .outside import Overheard, Response, besides, response
from .phrases import Split
from .score import row
from .strangers import WHERE, Stranger, Who, strangers
from .sweep import sweep, thresholds
from .trials import Trial, trials
from .voices import GET_THE_VOICES, VOICES, cache_folder, installed

Result = TypeVar("Result")

HUMAN, TRIGGERS, OUTSIDE, WORDS = "human", "triggers", "outside", "words"
#: Tasks that wait in the queue of each process.
_AHEAD = 2

_listener: Listener | None = None


def _start(
    engine: str, model: Path | None, folder: Path, front_end: str, changed: dict[str, float]
) -> None:
    """Make a process ready."""
    global _listener
    _listener = Listener(engine, model, Records(folder), front_end)
    thresholds(changed).__enter__()


def _outcomes(trials: Sequence[Trial]) -> list[Outcome]:
    assert _listener is not None
    return [outcome(trial, _listener) for trial in trials]


def _enrolled_outcomes(trials: Sequence[Trial]) -> list[Outcome]:
    """What comes of trials after whoever says them has enrolled."""
    assert _listener is not None
    found = []
    for trial in trials:
        _listener.enrolled = None
        known = enrolled(trial, _listener) if isinstance(trial, Stranger) else None
        _listener.enrolled = known
        found.append(outcome(trial, _listener, known.record if known else UNHEARD))
    return found


def _response(trial: Overheard) -> Response:
    assert _listener is not None
    return response(trial, _listener)


def _triggers(task: tuple[Any, bool]) -> Triggers:
    assert _listener is not None
    return triggers(task[0], _listener, paused=task[1])


def main() -> None:
    """Run the bench as the command line says."""
    options = _options()
    console = Console(width=None if sys.stdout.isatty() else 150)
    split: Split = "held-out" if options.final else "tune"
    if missing := [v.name for v in VOICES if v not in installed()]:
        console.print(f"voices not installed: {', '.join(missing)}. {GET_THE_VOICES}")
    for line in absent():
        console.print(line)
    folder = _records(options.engine, options.model, as_recorded=options.as_recorded)
    console.print(f"split: {split}   engine: {options.engine}   records: {folder}")
    wanted = [name for name in options.conditions if name in (*CONDITIONS, *WHERE)]
    tasks: list[Trial] = []
    if options.strangers:
        who: Who = "strangers" if options.final else "tune"
        tasks += [t for n in wanted for t in strangers(who, n, options.limit)]
    else:
        tasks += [t for n in wanted for t in trials(split, CONDITIONS[n], options.limit)]
    if HUMAN in options.conditions:
        tasks += human_trials(split, options.limit)
    tasks.sort(key=lambda t: t.phrase.number)  # whenever it stops, conditions are alike
    if options.sweep or options.fit:
        heard = Listener(options.engine, options.model, Records(folder), options.front_end)
        study = fit if options.fit else sweep
        study([t for t in tasks if _is_recorded(heard, t)], heard, console)
        return
    # What is said at one step is heard in one process, which makes its grammar once.
    together = [list(some) for _, some in groupby(tasks, key=lambda t: t.phrase.number)]
    start = time.monotonic()
    end = start + 60 * options.minutes if options.minutes else float("inf")
    with ProcessPoolExecutor(
        options.jobs,
        mp_context=multiprocessing.get_context("fork" if hasattr(os, "fork") else "spawn"),
        initializer=_start,
        initargs=(
            options.engine,
            options.model,
            folder,
            options.front_end,
            dict(options.set),
        ),
    ) as pool:
        say = _enrolled_outcomes if options.enrolled else _outcomes
        found = _show(console, "phrases", len(tasks), _run(pool, say, together, end))
        found = [one for some in found for one in some]
        beside: list[Response] = []
        others = besides(split, options.limit) if OUTSIDE in options.conditions else []
        others += single_words() if WORDS in options.conditions and not options.final else []
        if others:
            beside = _show(
                console, "outside the grammar", len(others), _run(pool, _response, others)
            )
        alone: list[Triggers] = []
        if TRIGGERS in options.conditions:
            quiet = [(p, paused) for p in pieces(split, options.noise_minutes)
                     for paused in (False, True)]  # fmt: skip
            alone = _show(console, "false triggers", len(quiet), _run(pool, _triggers, quiet))
    names = dict.fromkeys([*wanted, *(o.condition for o in found)])
    rows = [row(name, [o for o in found if o.condition == name]) for name in names]
    speakers = {o.voice for o in found if o.condition == "3 digits, human"}
    rows += [row(f"… {who}", [o for o in found if o.condition == "3 digits, human"
                              and o.voice == who]) for who in sorted(speakers)]  # fmt: skip
    rows = [r for r in rows if r.right or r.command]
    about = {
        "engine": options.engine,
        "model": str(options.model) if options.model else None,
        "split": split,
        "strangers": options.strangers,
        "enrolled": options.enrolled,
        "limit": options.limit,
        "front_end": options.front_end,
        "thresholds": dict(options.set),
        "code": folder.name.rpartition("-")[2],
        "date": datetime.now(UTC).isoformat(timespec="seconds"),
        "machine": f"{platform.machine()}, {os.cpu_count()} cores",
        "voices": [v.name for v in installed() if v.split == split],
        "absent": absent(),
        "run_seconds": round(time.monotonic() - start),
        "peak_memory_mb": _peak_memory(options.engine, options.model),
    }
    table.show(console, f"{options.engine}, {split} split", rows)
    if beside:
        table.show_outside(console, beside)
    if alone:
        table.show_triggers(console, alone)
    table.show_reliability(console, found)
    table.show_causes(console, found)
    console.print(f"peak memory: {about['peak_memory_mb']} MB")
    who_said = "strangers-" if options.strangers else ""
    path = options.out / f"speech-{options.engine}-{who_said}{split}.json"
    table.save(path, about, rows, found, alone)
    console.print(f"results: {path}")


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(
        prog="python -m tests.speech_bench",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    every = [*CONDITIONS, HUMAN, TRIGGERS, OUTSIDE, WORDS]
    add = parser.add_argument
    add("--engine", default="auto", help="as in handsfree hear --engine")
    add("--model", type=Path, help="folder of the engine's model")
    add("--conditions", type=lambda text: text.split(","),
        help=f"some of {','.join(every)}; of strangers {','.join(WHERE)}")  # fmt: skip
    add("--strangers", action="store_true", help="accents, voices, noises and links unheard of")
    add("--enrolled", action="store_true", help="strangers enrol before; see handsfree enrol")
    add("--limit", type=int, help="phrases of each condition; all of the split by default")
    add("--jobs", type=int, default=os.cpu_count() or 1, help="processes")
    add("--minutes", type=float, help="start no phrase after so many minutes")
    add("--noise-minutes", type=float, default=10, help="of each sound without a speaker")
    add("--final", action="store_true", help="the held-out split: never to tune anything")
    add("--set", type=_setting, action="append", default=[], metavar="NAME=VALUE",
        help="another threshold: RIVAL_SHARE or SURE_VALUE; tuning split only")  # fmt: skip
    add("--front-end", default="plain", choices=FRONT_ENDS,
        help="what is done to the sound first; tuning split only")  # fmt: skip
    add("--sweep", action="store_true", help="compare thresholds on what was heard before")
    add("--fit", action="store_true", help="fit the calibration to what was heard before")
    add("--as-recorded", action="store_true",
        help="use what was heard last, whatever has changed since")  # fmt: skip
    add("--out", type=Path, default=Path("bench_out"), help="folder of the results")
    options = parser.parse_args()
    known = [*WHERE, HUMAN, WORDS] if options.strangers else every
    options.conditions = options.conditions or (list(WHERE) if options.strangers else every)
    other = options.front_end != "plain"
    if options.final and (options.set or options.sweep or options.fit or other):
        parser.error("nothing is tuned on the held-out split")
    if unknown := set(options.conditions) - set(known):
        parser.error(f"unknown: {', '.join(sorted(unknown))}; known: {', '.join(known)}")
    return options


def _setting(text: str) -> tuple[str, float]:
    name, _, value = text.partition("=")
    return name, float(value)


def _records(engine: str, model: Path | None, *, as_recorded: bool) -> Path:
    """Folder of what this engine heard; the newest one with `as_recorded`."""
    name = engine if model is None else f"{engine}-{model.name}"
    folder = cache_folder() / "heard"
    if as_recorded and (older := list(folder.glob(f"{name}-*"))):
        return max(older, key=lambda path: max(f.stat().st_mtime for f in path.iterdir()))
    return folder / f"{name}-{fingerprint()}"


def _is_recorded(listener: Listener, trial: Trial) -> bool:
    return listener.knows(trial.key(trial.phrase.text, 0))


def _run(
    pool: ProcessPoolExecutor,
    work: Callable[[Any], Result],
    tasks: Iterable[Any],
    end: float = float("inf"),
) -> Iterator[Result]:
    """Results as they come; nothing is begun after `end`."""
    left = iter(tasks)
    workers = getattr(pool, "_max_workers", 1)
    waiting: set[Future[Result]] = {pool.submit(work, t) for t in islice(left, _AHEAD * workers)}
    while waiting:
        done, waiting = wait(waiting, return_when=FIRST_COMPLETED)
        for future in done:
            yield future.result()
        if time.monotonic() < end:
            waiting |= {pool.submit(work, task) for task in islice(left, len(done))}


def _show(console: Console, what: str, total: int, results: Iterator[Result]) -> list[Result]:
    """The results, with a progress bar while they come."""
    return list(track(results, what, total=total, console=console, transient=True))


def _peak_memory(engine: str, model: Path | None) -> float | None:
    command = [sys.executable, "-m", f"{__package__}.memory", engine]
    done = subprocess.run(
        [*command, *([str(model)] if model else [])], capture_output=True, text=True, check=False
    )
    try:
        return round(float(done.stdout.split()[-1]), 1)
    except (ValueError, IndexError):
        return None


if __name__ == "__main__":
    main()
