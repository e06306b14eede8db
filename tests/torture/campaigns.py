"""What is done to dictations, and what must be so afterwards."""

from __future__ import annotations

import errno
import os
import random
import shutil
import signal
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from handsfree.errors import BadInput, Damaged
from handsfree.log import open_job, recover, verify
from handsfree.log.chain import scan
from tests.torture.devices import recogniser_breaks, sound_is_gone
from tests.torture.dictation import (
    ERRORS,
    LOADED,
    Outcome,
    Sabotage,
    asleep,
    at_call,
    dictate,
    failing,
    from_then_on,
    half_written,
    killed_inside,
    out_of_memory,
)
from tests.torture.left import Case, all_there, need

# Ends -------------------------------------------------------------------------------------------


def kill_at_random(folder: Path, rng: random.Random) -> None:
    """SIGKILL anywhere."""

    def kill(process: int, _: int) -> None:
        time.sleep(rng.uniform(0, 0.4))
        os.kill(process, signal.SIGKILL)

    all_there(folder / "job", dictate(folder / "job", meanwhile=kill))


def kill_inside_a_write(folder: Path, rng: random.Random) -> None:
    """SIGKILL after half of a line was written, or before it is on the disk."""
    function = rng.choice(("write", "fsync"))
    outcome = dictate(folder / "job", at_call(function, rng.randrange(1, 60), killed_inside))
    if outcome.told:
        all_there(folder / "job", outcome)


def ask_to_end(number: int) -> Case:
    """A signal that asks the program to end."""

    def case(folder: Path, rng: random.Random) -> None:
        def ask(process: int, _: int) -> None:
            time.sleep(rng.uniform(0, 0.3))
            os.kill(process, number)

        outcome = dictate(folder / "job", meanwhile=ask)
        need(outcome.plain, outcome.said)
        need(outcome.code in (0, 128 + number), f"exit code {outcome.code}")
        all_there(folder / "job", outcome)

    return case


# The disk ---------------------------------------------------------------------------------------


def write_error(folder: Path, rng: random.Random) -> None:
    """A write, a sync or an opening fails, or the disk is full within a line."""
    error = failing(rng.choice(ERRORS))
    sabotage: Sabotage = rng.choice(
        (
            at_call("write", rng.randrange(1, 50), error),
            at_call("write", rng.randrange(1, 50), half_written),
            at_call("fsync", rng.randrange(1, 90), error),
            at_call("open", rng.randrange(1, 60), error),
        )
    )
    outcome = dictate(folder / "job", sabotage)
    need(outcome.plain, outcome.said)
    if outcome.told:
        all_there(folder / "job", outcome)


def read_only(folder: Path, rng: random.Random) -> None:
    """The disk is read-only, or full, from some moment on, to cutting and renaming too."""
    error = rng.choice((errno.EROFS, errno.ENOSPC, errno.EIO))
    outcome = dictate(folder / "job", from_then_on(rng.randrange(1, 250), error))
    need(outcome.plain, outcome.said)
    need(outcome.code in (0, 2), f"exit code {outcome.code}")
    if outcome.told:
        all_there(folder / "job", outcome)


def no_memory(folder: Path, rng: random.Random) -> None:
    """No memory is left in the middle of a write."""
    outcome = dictate(folder / "job", at_call("write", rng.randrange(2, 40), out_of_memory))
    need(outcome.code != 0 or "MemoryError" not in outcome.said, "it went on as if nothing was")
    if outcome.told:
        all_there(folder / "job", outcome)


def disturbed(folder: Path, rng: random.Random) -> None:
    """The log or its folder is removed, moved, cut or changed while it is written."""
    job, kept = folder / "job", folder / "kept"

    def disturb(process: int, _: int) -> None:
        time.sleep(rng.uniform(0, 0.1))
        os.kill(process, signal.SIGSTOP)
        try:
            log = job / "events.jsonl"
            match rng.randrange(5):
                case 0:
                    log.rename(kept)
                case 1:
                    job.rename(kept)
                case 2:
                    os.truncate(log, rng.randrange(log.stat().st_size))
                case 3:
                    shutil.copy(log, kept)
                    shutil.copy(log, folder / "other")
                    (folder / "other").replace(log)
                case 4:
                    log.write_bytes(log.read_bytes().replace(b"opened", b"0pened"))
        finally:
            os.kill(process, signal.SIGCONT)

    outcome = dictate(job, meanwhile=disturb)
    need(outcome.plain, outcome.said)
    if outcome.code == 0:  # it had written its last line before it was disturbed
        whole = len(dictate(folder / "undisturbed").told)
        need(len(outcome.told) == whole, "it went on over a log that was not as it left it")
    else:
        need(outcome.code in (2, 3), f"exit code {outcome.code}")


# Afterwards -------------------------------------------------------------------------------------


def cut(folder: Path, rng: random.Random) -> None:
    """The log, a clip or the plan is cut or changed after the end; recovery up to the damage."""
    job = folder / "job"
    outcome = dictate(job)
    need(outcome.code == 0, outcome.said)
    path = rng.choice([p for p in sorted(job.rglob("*")) if p.is_file() and p.name != "lock"])
    before = path.read_bytes()
    place = rng.randrange(len(before))
    if rng.random() < 0.5:
        path.write_bytes(before[:place])
    else:
        changed = before[place] ^ rng.randrange(1, 256)
        path.write_bytes(before[:place] + bytes([changed]) + before[place + 1 :])
    result = verify(job)
    untouched = {p: p.read_bytes() for p in job.rglob("*") if p.is_file()}
    whole = before if path.name == "events.jsonl" else (job / "events.jsonl").read_bytes()
    lines = whole.splitlines(keepends=True)
    if result.ok:  # only the end may be cut without a trace, and then it is said or not to be seen
        need(path.name == "events.jsonl", f"{path.name} was changed, and nothing was found")
        need(whole.startswith(path.read_bytes()), "the log was changed, and nothing was found")
    try:
        done = recover(job, folder / "new", LOADED.text.encode())
    except BadInput:
        need(result.ok, "damaged, but recovery says that it is not")
        return
    except Damaged:
        need(path.name == "events.jsonl" and place <= len(lines[0]), "nothing was recovered")
        return
    need({p: p.read_bytes() for p in job.rglob("*") if p.is_file()} == untouched, "not kept")
    recovered = (done.folder / "events.jsonl").read_bytes().splitlines(keepends=True)
    need(recovered[: done.kept] == lines[: done.kept], "what was recovered is not what was written")
    if path.name == "events.jsonl":
        sound = len(scan(before[:place]).events)  # lines before the damage
        need(done.kept >= sound - 1, f"{done.kept} of {sound} events before the damage")
        need(verify(done.folder).ok, "what was recovered is damaged")


def clock_set_back(folder: Path, rng: random.Random) -> None:
    """The clock is set back before a job is taken up."""
    job = folder / "job"
    back = timedelta(seconds=rng.randrange(2, 10**6))
    later = datetime.now(UTC) + back
    title, plan = LOADED.plan.title, LOADED.text.encode()
    with open_job(job, plan, title=title, clock=lambda: later) as log:
        log.append("note", text="x", verified=False)
    outcome = dictate(job)
    need(outcome.code == 0, outcome.said)
    need(any("set back" in str(remark) for remark in verify(job).remarks), "nothing is said of it")
    all_there(job, outcome)


def sleep_of_the_machine(folder: Path, rng: random.Random) -> None:
    """The machine sleeps for hours, in the middle of an event."""
    job, hours = folder / "job", rng.uniform(0.1, 100)

    def wake(process: int, _: int) -> None:
        os.waitpid(process, os.WUNTRACED)
        time.sleep(rng.uniform(0, 0.05))
        os.kill(process, signal.SIGCONT)

    outcome = dictate(job, asleep(rng.randrange(4, 40), hours * 3600), meanwhile=wake)
    need(outcome.code == 0, outcome.said)
    need(not verify(job).remarks, f"remarked: {verify(job).remarks}")
    all_there(job, outcome)


def two_writers(folder: Path, rng: random.Random) -> None:
    """A second dictation begins, the lock deleted or not."""
    job = folder / "job"
    second: list[Outcome] = []

    def begin(process: int, _: int) -> None:
        os.kill(process, signal.SIGSTOP)
        try:
            if rng.random() < 0.5:
                (job / "lock").unlink()
            second.append(dictate(job))
        finally:
            os.kill(process, signal.SIGCONT)

    outcome = dictate(job, meanwhile=begin)
    need(outcome.code == 0, outcome.said)
    need(second[0].code == 2 and not second[0].told, "a second writer was let in")
    all_there(job, outcome)


#: Name, share of the whole campaign, and the case.
CAMPAIGNS: tuple[tuple[str, int, Case], ...] = (
    ("killed at random", 400, kill_at_random),
    ("killed inside a write", 100, kill_inside_a_write),
    ("SIGTERM", 40, ask_to_end(signal.SIGTERM)),
    ("SIGHUP", 40, ask_to_end(signal.SIGHUP)),
    ("SIGINT", 40, ask_to_end(signal.SIGINT)),
    ("a write fails", 200, write_error),
    ("the disk takes nothing any more", 60, read_only),
    ("no memory", 40, no_memory),
    ("log disturbed while it is written", 100, disturbed),
    ("log, clip or plan damaged, and recovered", 150, cut),
    ("clock set back", 20, clock_set_back),
    ("the machine sleeps", 30, sleep_of_the_machine),
    ("two writers", 30, two_writers),
    ("the recogniser breaks", 40, recogniser_breaks),
    ("the sound device is gone", 30, sound_is_gone),
)
