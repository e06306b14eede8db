"""`handsfree model`: get, list and check: Vosk models for people with a network."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer
from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn, TransferSpeedColumn
from rich.table import Table

from handsfree.cli.options import Json
from handsfree.cli.output import console, print_json
from handsfree.grammar import SpokenPlan
from handsfree.grammar.parsing import is_numeral
from handsfree.grammar.synonyms import Synonyms
from handsfree.languages import load_language
from handsfree.plan import load_plan, shipped
from handsfree.words.fetch import INDEX, choose, fetch, models_folder, offers

_app = typer.Typer(help="Get, list and check Vosk speech models.", no_args_is_help=True)
Index = Annotated[str, typer.Option("--index", help="Address of the list of models.")]
Into = Annotated[Path | None, typer.Option("--into", help="Folder of models; else your own.")]


def register(main: typer.Typer) -> None:
    """Add these commands."""
    main.add_typer(_app, name="model")


@_app.command("get", epilog="Example: handsfree model get en-us")
def get(
    wanted: Annotated[
        str, typer.Argument(metavar="LANGUAGE", help="A language, or the name of a model.")
    ],
    again: Annotated[bool, typer.Option("--again", help="Replace the one that is there.")] = False,
    into: Into = None,
    index: Index = INDEX,
    sha256: Annotated[
        str | None, typer.Option("--sha256", help="Of the archive, where none is known here.")
    ] = None,
) -> None:
    """Fetch a model once; what was begun goes on where it stopped."""
    folder = into or models_folder()
    there = folder / f"vosk-{wanted}"
    if there.is_dir() and not again:
        console.print(f"already there: {there}   (--again fetches it anew)")
        return
    offer = choose(offers(index), wanted)
    if sha256:
        offer = replace(offer, sha256=sha256)
    columns = (TextColumn(offer.name), BarColumn(), DownloadColumn(), TransferSpeedColumn())
    with Progress(*columns, console=console) as progress:
        task = progress.add_task("", total=offer.size)
        place = fetch(
            offer, folder, lambda have, size: progress.update(task, completed=have, total=size)
        )
    console.print(f"ready: {place}")


@_app.command("list", epilog="Example: handsfree model list")
def list_models(into: Into = None, index: Index = INDEX, as_json: Json = False) -> None:
    """List the models that can be fetched, and which languages are here."""
    folder = into or models_folder()
    table = Table("language", "name", "megabytes", "here", box=None)
    for offer in offers(index):
        here = (folder / f"vosk-{offer.language}").is_dir()
        if as_json:
            print_json(
                {
                    "language": offer.language,
                    "name": offer.name,
                    "kind": offer.kind,
                    "bytes": offer.size,
                    "here": here,
                }
            )
        table.add_row(offer.language, offer.name, f"{offer.size / 1e6:.0f}", "yes" if here else "")
    if not as_json:
        console.print(table)


@_app.command("check", epilog="Example: handsfree model check ~/models/vosk-en-us")
def check_model(
    model: Annotated[Path, typer.Argument(help="Folder of a Vosk model.")],
    plan: Annotated[
        list[str] | None, typer.Option("--plan", help="A plan; else every shipped one.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Say which words of the plans a model lacks, and what can be said instead."""
    from handsfree.words.vosk_engine import VoskRecogniser

    engine = VoskRecogniser(model)
    plans = [load_plan(name).plan for name in plan or shipped()]
    instead: dict[tuple[str, str], tuple[str, ...]] = {}
    for one in plans:
        spoken = SpokenPlan(load_language(one.language), one)
        synonyms = Synonyms(spoken.language, spoken)
        lacking = set().union(*(engine.missing_words(spoken.automaton(s)) for s in one.steps))
        for word in sorted(word for word in lacking if not is_numeral(word)):
            for wording, others in synonyms.instead_of(word, engine.knows).items():
                instead.setdefault((word, wording), others)
    table = Table("not known", "in", "say instead", box=None)
    for (word, wording), others in instead.items():
        if as_json:
            print_json({"word": word, "wording": wording, "instead": others})
        table.add_row(word, wording, " | ".join(others) or "(nothing: it cannot be said)")
    if not as_json:
        console.print(table if instead else "the model knows every word of these plans")
