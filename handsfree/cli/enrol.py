"""`handsfree enrol`: how one person's voice is misheard, learnt in a minute."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import closing
from dataclasses import asdict, replace
from pathlib import Path
from typing import Annotated

import typer

from handsfree.cli.dictation import Device
from handsfree.cli.options import EngineName, EngineOption, Json, ModelOption
from handsfree.cli.output import console, print_json
from handsfree.errors import BadInput, Missing
from handsfree.job.acquaintance import acquaintance, forget, keep_acquaintance
from handsfree.job.enrolling import Enrolling, enrolment_lines, how_far_trusted
from handsfree.live import remembered
from handsfree.sound.blocks import Block
from handsfree.sound.card import Card, Deaf, Lost
from handsfree.sound.endpoint import Endpointer, Utterance
from handsfree.sound.recordings import recorded
from handsfree.words import Transcriber


def register(app: typer.Typer) -> None:
    """Add this command."""
    app.command(epilog="Example: handsfree enrol Ilya; then handsfree dictate PLAN --person Ilya")(
        enrol
    )


def enrol(
    person: Annotated[str, typer.Argument(help="Whose voice it is: as in --person.")],
    audio: Annotated[
        list[Path] | None,
        typer.Option("--audio", help="The lines as recorded speech, in their order."),
    ] = None,
    device: Device = None,
    engine: EngineOption = EngineName.auto,
    model: ModelOption = None,
    anew: Annotated[bool, typer.Option("--anew", help="Begin with the first line again.")] = False,
    delete: Annotated[
        bool, typer.Option("--delete", help="Delete all that is known of the voice.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Learn how a voice is misheard: 20 short lines, read aloud once, in one go or in pieces."""
    if delete:
        console.print(f"{person}: deleted" if forget(person) else f"{person}: nothing is known")
        return
    ears = Transcriber(engine.value, model, apart=True)
    known = acquaintance(person)
    if anew or known.engine != ears.name:
        known = replace(known, engine=ears.name, lines=())
    left = enrolment_lines()[len(known.lines) :]
    hearing = Enrolling(ears)
    utterances = _recorded(audio, left) if audio else _spoken(device)
    if left and not audio:
        console.print("Read each line as you dictate. Ctrl-C stops; the next time it goes on.")
    try:
        for said in left:
            if not audio:
                console.print(f"\n    {said}", style="bold", markup=False)
            utterance = next(utterances, None)
            if utterance is None:
                break
            line = hearing.line(said, utterance)
            if not (audio or line.heard):  # a cough, perhaps
                console.print("    nothing was understood: once more")
                again = next(utterances, None)
                line = hearing.line(said, again) if again else line
            known = replace(known, lines=(*known.lines, line))
            if not as_json:
                console.print(f"    {'heard' if line.right else 'misheard'}: {line.heard}")
    finally:  # what was read is kept, also if it was not all
        keep_acquaintance(known)
    if known.enrolled is None:
        return
    more = len(enrolment_lines()) - len(known.lines)
    told = how_far_trusted(known.enrolled)
    if more:
        told.append(f"{more} lines are left: handsfree enrol {person}.")
    told.append(f"Used with --person {person}. handsfree enrol {person} --delete deletes it.")
    if as_json:
        print_json({"person": person, **asdict(known.enrolled), "told": told})
    else:
        for sentence in told:
            console.print(sentence, markup=False)


def _recorded(paths: list[Path], left: list[str]) -> Iterator[Utterance]:
    """The utterances of recordings, one for each line.

    Raises:
        BadInput: there are more of them than lines.
    """
    found = [sound.utterance for sound in recorded(paths)]
    if len(found) > len(left):
        raise BadInput(
            f"{len(found)} utterances for {len(left)} lines",
            where=", ".join(map(str, paths)),
            remedy="One utterance a line, without a pause in it; --anew begins with the first.",
        )
    return iter(found)


def _spoken(device: str | None) -> Iterator[Utterance]:
    """The utterances that the microphone hears.

    Raises:
        Missing: there is none, or it is gone.
    """
    endpointer = Endpointer()
    card = Card(device or remembered().device, audible=False)
    with closing(card):
        for message in card.messages():
            match message:
                case Block():
                    yield from endpointer.feed(message.samples)
                case Lost(why=why) | Deaf(why=why):
                    raise Missing(why, where="--device", remedy="Plug it in again.")
