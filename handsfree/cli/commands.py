"""The commands, each imported when it is called: help and version need none of them.

A command's module has `register(app)`, which adds what it has to a Typer application.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any, NamedTuple

import typer
from typer.core import TyperCommand, TyperGroup
from typer.main import get_group


class Offered(NamedTuple):
    """What the list of commands says of one.

    Attributes:
        module: where it is, in `handsfree.cli`.
        help: the first paragraph of its own help.
    """

    module: str
    help: str


COMMANDS: Mapping[str, Offered] = {
    "demo": Offered(
        "demo",
        "Run a recorded session: sound to log, verdict and report. No microphone is needed.",
    ),
    "dictate": Offered(
        "dictate", "Dictate readings along a plan; each is checked, read back and logged."
    ),
    "resume": Offered("resume", "Go on with a job exactly where it stands, dictated as before."),
    "enrol": Offered(
        "enrol",
        "Learn how a voice is misheard: 20 short lines, read aloud once, in one go or in pieces.",
    ),
    "check-setup": Offered(
        "setup", "Check engine, model, voice, microphone, speaker and disk, and say what to do."
    ),
    "hear": Offered(
        "speech",
        "Recognise speech and stop there: what was heard and what it means, a line an utterance.",
    ),
    "parse": Offered("speech", "Tell what a text means at a step of a plan."),
    "log": Offered("jobs", "Show what was logged."),
    "report": Offered(
        "jobs", "Write a report: HTML with the sound behind every reading in it, or PDF."
    ),
    "attach": Offered(
        "jobs", "Put photos into a job, also one that is finished; the report shows them."
    ),
    "sweep": Offered(
        "jobs", "Import a sweep of feedback against command into a job, and judge it."
    ),
    "record": Offered(
        "jobs", "Import the record of a clamp, scope or meter, and find its excursions."
    ),
    "verify": Offered("jobs", "Check that a log is as it was written: hash chain, clips and plan."),
    "seal": Offered("seal", "Seal jobs and reports with the key of the shop."),
    "import": Offered(
        "keeping",
        "Import readings from a table into a job, for whoever has no microphone; each is checked.",
    ),
    "merge": Offered(
        "keeping", "Put two technicians' logs of one job together, by time; both stay as they are."
    ),
    "purge": Offered(
        "keeping", "Remove recordings by a rule; the log tells which, by hash, and stays whole."
    ),
    "delete": Offered(
        "keeping",
        "Delete a job; a tombstone stays: that there was one, its fingerprint, when, by whom, why.",
    ),
    "export": Offered(
        "export",
        "Write jobs for other programs: a table, JSON, Parquet, captions, or an archive of them.",
    ),
    "review": Offered(
        "review",
        "Show all jobs of a folder on a page: find, listen, correct, compare. Ends with Ctrl-C.",
    ),
    "publish": Offered(
        "review",
        "Put jobs into the index of several workshops; a job that is there already is not doubled.",
    ),
    "recover": Offered(
        "jobs", "Make a new job of what is whole of a damaged one, up to the damage."
    ),
    "explain": Offered(
        "diagnosis",
        "Rank the faults that explain the readings, with what speaks for and against each.",
    ),
    "simulate": Offered(
        "diagnosis",
        "Make up the readings of a vehicle with a fault: "
        "tolerances, meter error, slips of hearing.",
    ),
    "glance": Offered(
        "display",
        "Show a job on one screen, and go on showing it while it is dictated. Ends with Ctrl-C.",
    ),
    "privacy": Offered(
        "privacy",
        "Tell what listens, what leaves this machine, what is kept where, and how to delete it.",
    ),
    "licences": Offered(
        "licences",
        "List the libraries, weights and voices that the tool is made of, with their licences.",
    ),
    "plan": Offered("plans", "Look at test plans, or check your own."),
    "model": Offered("model", "Get, list and check Vosk speech models."),
}


class Commands(TyperGroup):
    """`COMMANDS`: named without their modules, and loaded to be run."""

    def __init__(self, **settings: Any) -> None:
        """Settings as Typer has them; the commands are known by name and help alone."""
        named = {name: TyperCommand(name, help=of.help) for name, of in COMMANDS.items()}
        super().__init__(**settings | {"commands": named})

    def resolve_command(self, context: Any, args: list[str]) -> tuple[Any, Any, list[str]]:
        """The command that is called, itself."""
        name, named, rest = super().resolve_command(context, args)
        return name, load_command(name) if name and named else named, rest


def load_command(name: str) -> Any:
    """The command `name`, from its module."""
    holder = typer.Typer()
    import_module(f"handsfree.cli.{COMMANDS[name].module}").register(holder)
    return get_group(holder).commands[name]
