"""`handsfree check-setup`: is everything there that a dictation needs, and quick enough?"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import asdict, dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated, Literal

import typer

from handsfree.cli.options import EngineName, EngineOption, Json, ModelOption, VoiceOption
from handsfree.cli.output import console, print_json
from handsfree.dialogue import Dialogue
from handsfree.errors import HandsfreeError, Missing
from handsfree.heard import Heard
from handsfree.languages import data_folder, load_language
from handsfree.live import Settings, remembered
from handsfree.log import open_job
from handsfree.meaning import interpret
from handsfree.plan import load_plan
from handsfree.sound.audio import RATE, decibels, level
from handsfree.sound.blocks import BLOCK, Block
from handsfree.sound.card import Card, Deaf, Lost, Opened, Said
from handsfree.sound.pieces import Pieces
from handsfree.sound.recordings import recorded
from handsfree.sound.tones import TONE_RATE as TONE_RATE
from handsfree.sound.tones import tone
from handsfree.sound.voice import GET_A_VOICE, open_voice
from handsfree.words import Transcriber

EXAMPLE_PLAN, EXAMPLE_STEP = "headlamp-levelling", "five_volt_reference_low_beam_on"
EXAMPLE_CLIP, EXAMPLE_WORDS = (
    "low-beam/03-*.flac",
    "red with white stripe four point nine seven volts",
)

SLOW_WORDS = 2.0
"""Seconds for one utterance, above which answers drag."""

SLOW_VOICE = 0.3
"""Seconds to the first sound of a text that was never said before."""

SLOW_DISK = 0.1
"""Seconds for one event to be on the disk."""

LISTEN = 1.5
"""Seconds for which the microphone is listened to."""

Fitness = Literal["ok", "slow", "fails"]


@dataclass(frozen=True, slots=True)
class Checked:
    """What came of one check.

    Attributes:
        part: what was checked.
        state: ok, slow (works, but drags) or fails.
        found: what is there, or what is wrong.
        remedy: what to do about it; empty if nothing.
    """

    part: str
    state: Fitness
    found: str
    remedy: str = ""


Trial = Callable[[], Checked]


def register(app: typer.Typer) -> None:
    """Add this command."""
    app.command("check-setup", epilog="Example: handsfree check-setup --device headset")(setup)


def setup(
    engine: EngineOption = EngineName.auto,
    model: ModelOption = None,
    voice: VoiceOption = "auto",
    device: Annotated[str | None, typer.Option("--device", help="Microphone.")] = None,
    speaker: Annotated[str | None, typer.Option("--speaker", help="Speaker or headset.")] = None,
    folder: Annotated[
        Path, typer.Option("--jobs", help="Folder that jobs are to be written to.")
    ] = Path(),
    as_json: Json = False,
) -> None:
    """Check engine, model, voice, microphone, speaker and disk, and say what to do."""
    known = remembered()
    settings = Settings(device or known.device, speaker or known.speaker)
    checks: list[tuple[str, Trial]] = [
        ("engine", lambda: _engine(engine.value, model)),
        ("voice", lambda: _voice(voice)),
        ("microphone", lambda: _microphone(settings)),
        ("speaker", lambda: _speaker(settings)),
        ("disk", lambda: _disk(folder)),
    ]
    findings = []
    for part, check in checks:
        try:
            finding = check()
        except HandsfreeError as error:
            what = f"{error.where}: {error.what}" if error.where else error.what
            finding = Checked(part, "fails", what, error.remedy or f"Name another: --{part}.")
        findings.append(finding)
        if as_json:
            print_json(asdict(finding))
        else:
            console.print(f"{finding.state:6}{finding.part}: {finding.found}")
            if finding.remedy:
                console.print(f"      {finding.remedy}")
    if any(finding.state == "fails" for finding in findings):
        raise typer.Exit(Missing.exit_code)


def _engine(name: str, model: Path | None) -> Checked:
    """The engine hears a recorded sentence at its step."""
    ears = Transcriber(name, model)
    loaded = load_plan(EXAMPLE_PLAN)
    desk, step = Dialogue(loaded.plan, load_language()).desk, loaded.plan.step(EXAMPLE_STEP)
    grammar = desk.spoken.automaton(step)
    (path,) = data_folder("demo_audio").glob(EXAMPLE_CLIP)
    (sound,) = recorded([path])
    ears.hear(sound.utterance, grammar, desk.wording.hint)  # the first time it warms up
    begin = time.monotonic()
    heard = ears.hear(sound.utterance, grammar, desk.wording.hint)
    took = time.monotonic() - begin
    found = f"{ears.name} hears “{heard.text}” in {took:.1f} s"
    meant = interpret(Heard.of_text(EXAMPLE_WORDS), desk.spoken, step).meaning
    if interpret(heard, desk.spoken, step).meaning != meant:
        remedy = f"That was “{EXAMPLE_WORDS}”. Choose another engine with --engine or --model."
        return Checked("engine", "fails", found, remedy)
    if not ears.recogniser.numbers_trusted:
        remedy = "It asks back every number. Give a better model with --engine and --model."
        return Checked("engine", "slow", found, remedy)
    if took > SLOW_WORDS:
        remedy = "Close other programs, or take a smaller model: --engine vosk --model FOLDER."
        return Checked("engine", "slow", found, remedy)
    if (name, ears.name) == ("auto", "whisper"):
        from handsfree.words.moonshine_engine import INSTALL

        remedy = f"It judges alone, and asks more often: {INSTALL}."
        return Checked("engine", "ok", found, remedy)
    return Checked("engine", "ok", found)


def _voice(name: str) -> Checked:
    """The voice says something that it never said before."""
    voice = open_voice(name, to_speaker=False)
    if not voice.audible:
        return Checked("voice", "slow", "none, read-backs are text only", GET_A_VOICE)
    pieces = Pieces(voice)
    next(pieces.say("ready"))
    begin = time.monotonic()
    next(pieces.say("violet, four point nine eight volts, in range."))
    took = time.monotonic() - begin
    found = f"{voice.name}, first sound after {1000 * took:.0f} ms"
    if took > SLOW_VOICE:
        return Checked("voice", "slow", found, "espeak-ng is quicker: --voice espeak-ng.")
    return Checked("voice", "ok", found)


def _microphone(settings: Settings) -> Checked:
    """The microphone gives sound that is more than nothing."""
    card = Card(settings.device, audible=False)
    where, levels, lost = "", [], 0
    with closing(card):
        for message in card.messages():
            match message:
                case Opened(microphone=name, rate=rate, channels=channels):
                    where = f"{name}, {rate} Hz, {channels} channel{'s' * (channels > 1)}"
                case Block():
                    levels.append(level(message.samples))
                    lost += message.lost
                case Lost(why=why) | Deaf(why=why):
                    return Checked("microphone", "fails", why, "Plug it in again.")
            if len(levels) * BLOCK > LISTEN * RATE:
                break
    loudest = decibels(max(levels))
    found = f"{where}, up to {loudest:.0f} dBFS"
    if max(levels) == 0:
        remedy = "Switch it on: its mute key, or the input level of the system."
        return Checked("microphone", "fails", f"{where}, silent", remedy)
    if lost:
        found += f", {lost / RATE:.2f} s of {LISTEN} s lost"
        return Checked("microphone", "slow", found, "Close other programs.")
    return Checked("microphone", "ok", found)


def _speaker(settings: Settings) -> Checked:
    """The speaker plays a tone to its end."""
    card = Card(settings.device, settings.speaker)
    begin = 0.0
    with closing(card):
        for message in card.messages():
            match message:
                case Opened(speaker=name):
                    begin = time.monotonic()
                    card.play(1, tone("in_range"), TONE_RATE)
                    card.end(1)
                case Said():
                    late = time.monotonic() - begin - len(tone("in_range")) / TONE_RATE
                    return Checked("speaker", "ok", f"{name}, {1000 * late:.0f} ms late")
                case Lost(why=why) | Deaf(why=why):
                    break
    return Checked("speaker", "fails", why, "Plug in or switch on a speaker, or use --voice off.")


def _disk(folder: Path) -> Checked:
    """Events are on the disk before they are read back; how long does that take?"""
    try:
        with TemporaryDirectory(dir=folder, prefix=".check-setup-") as there:
            times = list(_writes(Path(there) / "job"))
    except OSError as error:
        what = f"cannot be written: {error.strerror or error}"
        return Checked("disk", "fails", what, f"Choose a folder other than {folder.resolve()}.")
    usual, worst = statistics.median(times), max(times)
    found = f"an event is safe after {1000 * usual:.0f} ms, at worst {1000 * worst:.0f} ms"
    if usual > SLOW_DISK:
        remedy = "Write to a disk in this machine, not to a network or a memory card: --job."
        return Checked("disk", "slow", found, remedy)
    return Checked("disk", "ok", found)


def _writes(folder: Path, count: int = 20) -> Iterator[float]:
    with open_job(folder, b"check-setup", title="check-setup") as log:
        for number in range(count):
            begin = time.monotonic()
            log.append("check", number=number)
            yield time.monotonic() - begin
