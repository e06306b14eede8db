"""`handsfree privacy`: what listens, what leaves the machine, what is kept and how it is deleted.

Places are those of the code that writes there, so they are this machine's own.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Literal
from urllib.parse import urlsplit

import typer

from handsfree.cli.options import Json
from handsfree.cli.output import console, print_json
from handsfree.display.web_display import LOOPBACK, PORT, certificate_folder
from handsfree.job.acquaintance import voices_folder
from handsfree.job.progress import progress_folder
from handsfree.live.settings import settings_file
from handsfree.review.places import REVIEW_PORT, index_folder
from handsfree.seal.keys import seal_folder
from handsfree.units import ureg
from handsfree.words.fetch import INDEX, models_folder

Topic = Literal["listens", "leaves", "kept"]
HEADINGS: dict[Topic, str] = {
    "listens": "What listens",
    "leaves": "What leaves this machine",
    "kept": "What is kept, and how to delete it",
}


@dataclass(frozen=True, slots=True)
class Fact:
    """One thing that somebody who is recorded may want to know.

    Attributes:
        topic: of `HEADINGS`.
        name: of the thing.
        text: what is so, in plain words.
        place: file, folder or address; empty if there is none.
        there: whether the file or folder is there now.
    """

    topic: Topic
    name: str
    text: str
    place: str = ""
    there: bool = False


def register(app: typer.Typer) -> None:
    """Add this command."""
    app.command(epilog="Example: handsfree privacy")(privacy)


def privacy(as_json: Json = False) -> None:
    """Tell what listens, what leaves this machine, what is kept where, and how to delete it."""
    known = list(facts())
    if as_json:
        for fact in known:
            print_json(asdict(fact))
        return
    for topic, heading in HEADINGS.items():
        console.print(heading, style="bold")
        for fact in known:
            if fact.topic == topic:
                _print(fact)


def _print(fact: Fact) -> None:
    console.print(f"  {fact.name}: {fact.text}", markup=False)
    if fact.place:
        there = "" if fact.topic != "kept" or fact.there else "   (not there now)"
        console.print(f"      {fact.place}{there}", markup=False)


def facts() -> Iterator[Fact]:
    """All of it, topic by topic."""
    yield from _listening()
    yield from _leaving()
    yield from _keeping()
    yield from _reviewing()


def _listening() -> Iterator[Fact]:
    yield Fact(
        "listens",
        "microphone",
        "only while `dictate` or `resume` runs without --audio, and while `check-setup` runs. "
        "Every utterance of a dictation is kept, understood or not, also of others in the room; "
        "while it is paused, none is.",
    )
    yield Fact(
        "listens",
        "the page",
        "only with --screen web, of `dictate`, `resume` or `glance`; to this machine alone.",
        f"http://{LOOPBACK}:{PORT}/",
    )
    yield Fact(
        "listens",
        "the page, shared",
        "only with --share; to the networks that this machine is in, and shown to whoever has the "
        "pairing code of this session. Unencrypted without --https.",
        f"port {PORT} of every address of this machine",
    )


def _reviewing() -> Iterator[Fact]:
    yield Fact(
        "listens",
        "the page over all jobs",
        "only while `review` runs; to this machine alone, or with --share to whoever has the "
        "pairing code. It shows and plays every job of the folder that it was given.",
        f"http://{LOOPBACK}:{REVIEW_PORT}/",
    )
    yield Fact(
        "leaves",
        "published jobs",
        "only `publish`, and what is added to a published job on the page of `review --index`, "
        "send a job's log and plan to the database that --index names; its sound is not sent.",
    )
    yield _kept(
        "indexes of the review",
        "what can be searched of the jobs of a folder: what was said, readings, names. Its "
        "owner's alone. Delete the folder; it comes back with the next `review`.",
        index_folder(),
    )


def _leaving() -> Iterator[Fact]:
    yield Fact(
        "leaves",
        "speech, readings, names",
        "nothing; recognition, voice and report are made on this machine. What --share shows goes "
        "to the screens that were paired. No statistics are sent, no new versions looked "
        "for; what ONNX Runtime would send by itself is turned off.",
    )
    yield Fact(
        "leaves",
        "models of Vosk",
        "only `model get` and `model list` ask for them; they tell which, and nothing of a job.",
        urlsplit(INDEX).netloc,
    )
    yield Fact(
        "leaves",
        "the hash of a seal",
        "only with --stamp of `seal sign`, and `seal stamp`: to the address that is named, for a "
        "time stamp; nothing else of a job.",
    )
    yield Fact(
        "leaves",
        "programmes on this machine",
        "the system's sound server has the microphone's sound and the voice's. A voice of "
        "espeak-ng or flite is given the words to say; nobody else sees them.",
    )


def _keeping() -> Iterator[Fact]:
    yield _kept(
        "jobs",
        "one folder each, or that of --job: every utterance as sound and text, readings, photos "
        "as they were attached, what was told of vehicle, technician and complaint, and the plan. "
        "Its files are their owner's alone. A report or a table that is written elsewhere is made "
        "to be handed on, and as readable as files there are. "
        "Delete the folder, and what was made of it elsewhere: a recovered job, a report, a table.",
        Path("jobs").resolve(),
    )
    yield _kept(
        "progress",
        "with --person: a file for each apprentice, by name; how often each step was asked about "
        "and known. Its owner's alone. Delete the file.",
        progress_folder(),
    )
    yield _kept(
        "voices",
        "with --person and after `enrol`: a file for each person, by name. How many values were "
        "heard right and wrong; of the lines that were read what was heard, how surely, how long "
        "it took and how loud it was. No sound, and nothing by which a voice is known again. Used "
        "for that person alone. Its owner's alone. `enrol NAME --delete` deletes it.",
        voices_folder(),
    )
    yield _kept(
        "settings",
        "microphone, speaker, volume and speed of the last session. Delete the file.",
        settings_file(),
    )
    yield _kept(
        "certificate and its key",
        "of the page, with --https; names of this machine stand in it. Its owner's alone. Delete "
        "the folder: the next is made anew, and browsers warn once more.",
        certificate_folder(),
    )
    yield _kept(
        "key of the shop, and the list of what it sealed",
        "after `seal init`: the private key, under its passphrase, the public one, other shops' "
        "keys that were vouched for, and each seal with the place of its job. Its owner's alone. "
        "Without the folder nothing is sealed with that key any more; what is sealed stays so. "
        "With --keyring the system's key ring holds the passphrase: `seal keyring --forget`.",
        seal_folder(),
    )
    yield _kept("models of Vosk", "what `model get` fetched. Delete the folder.", models_folder())
    yield _kept(
        "definitions of units",
        "a cache of the library pint, with nothing of a job. Delete the folder; it comes back.",
        Path(ureg.cache_folder) if ureg.cache_folder else None,
    )
    yield Fact(
        "kept",
        "in the browser of a screen",
        "the token of a pairing until its tab is closed, and whether the page is light or dark. "
        "Delete the data of that page in the browser.",
    )


def _kept(name: str, text: str, place: Path | None) -> Fact:
    there = place is not None and place.exists()
    return Fact("kept", name, text, str(place) if place else "", there)
