"""`handsfree dictate`, `hear`, `parse` and `demo`: from speech to log."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree.check import resolve
from handsfree.cli.output import console, print_event, print_json
from handsfree.dialogue import Dialogue
from handsfree.errors import BadInput
from handsfree.grammar import SpokenPlan
from handsfree.heard import Heard
from handsfree.job import Job
from handsfree.job.listening import Ears, files
from handsfree.languages import data_folder, load_language
from handsfree.log import open_job
from handsfree.meaning import interpret
from handsfree.meaning.plain import plain_understood
from handsfree.plan import LoadedPlan, Plan, Step, load_plan


class EngineName(StrEnum):
    """Speech engines."""

    auto = "auto"
    vosk = "vosk"
    whisper = "whisper"
    pocketsphinx = "pocketsphinx"


PlanArgument = Annotated[str, typer.Argument(help="A shipped plan's name, or a file.")]
PlanOption = Annotated[str, typer.Option("--plan", help="A shipped plan's name, or a file.")]
StepOption = Annotated[str | None, typer.Option("--step", help="Id of the step it is said at.")]
Engine = Annotated[EngineName, typer.Option("--engine", help="Speech engine.")]
Model = Annotated[Path | None, typer.Option("--model", help="Folder of the engine's model.")]
Voice = Annotated[
    str, typer.Option("--voice", help="off, auto, or piper, espeak-ng, flite[:VOICE].")
]
Json = Annotated[bool, typer.Option("--json", help="One JSON object a line.")]


def register(app: typer.Typer) -> None:
    """Add these commands."""
    app.command(epilog="Example: handsfree demo")(demo)
    app.command(epilog="Example: handsfree dictate flap-actuator-5wire --audio shift.wav")(dictate)
    app.command(epilog="Example: handsfree hear words.wav --plan flap-actuator-5wire --json")(hear)
    app.command(epilog='Example: handsfree parse "twelve six" --plan relay-4pin --json')(parse)


def dictate(
    plan: PlanArgument,
    audio: Annotated[
        list[Path] | None, typer.Option("--audio", help="Recorded speech; without, the microphone.")
    ] = None,
    job: Annotated[
        Path | None, typer.Option("--job", help="Job folder, new or to go on with.")
    ] = None,
    engine: Engine = EngineName.auto,
    model: Model = None,
    voice: Voice = "auto",
    device: Annotated[
        str | None, typer.Option("--device", help="Microphone, by name or a part of it.")
    ] = None,
    apprentice: Annotated[
        bool, typer.Option("--apprentice", help="Also say how to probe and why.")
    ] = False,
    as_json: Json = False,
) -> None:
    """Dictate readings along a plan; each is checked, read back and logged."""
    loaded = load_plan(plan)
    ears = Ears(engine.value, model)
    if audio:
        sounds = files(audio)
    else:
        from handsfree.job.listening import microphone

        sounds = microphone(device)
    folder = job or _new_folder(loaded)
    run_session(loaded, folder, ears, sounds, voice=voice, apprentice=apprentice, as_json=as_json)


def run_session(
    loaded: LoadedPlan,
    folder: Path,
    ears: Ears,
    sounds: Iterator[Any],
    *,
    voice: str,
    apprentice: bool = False,
    as_json: bool = False,
) -> Job:
    """Listen until the sound or the job ends; tells where the log is."""
    from handsfree.sound.voice import open_voice

    speaker = open_voice(voice)
    language = load_language(loaded.plan.language)
    dialogue = Dialogue(loaded.plan, language, apprentice=apprentice)
    tell = print_json if as_json else print_event
    if not as_json:
        if speaker.remark:
            console.print(speaker.remark)
        console.print(f"engine: {ears.name}, log: {folder}")
    with open_job(folder, loaded.text.encode(), title=loaded.plan.title) as log:
        session = Job(dialogue, log, tell, speaker.speak)
        session.begin()
        for sound in sounds:
            if session.finished:
                break
            session.listen(ears, sound)
    if not as_json:
        console.print(f"log: {folder}   (handsfree report {folder})")
    return session


def hear(
    files_heard: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Recorded speech.")],
    plan: PlanOption,
    step: StepOption = None,
    engine: Engine = EngineName.auto,
    model: Model = None,
    as_json: Json = False,
) -> None:
    """Recognise speech and stop there: what was heard and what it means, a line an utterance."""
    loaded, at, spoken, hint = _spoken(plan, step)
    ears = Ears(engine.value, model)
    for sound in files(files_heard):
        heard = ears.hear(sound.utterance, spoken.automaton(at), hint)
        meaning = _meaning(heard, spoken, at, loaded.plan)
        line = {
            "file": sound.source,
            "start": round(heard.start, 3),
            "end": round(heard.end, 3),
            "engine": heard.engine,
            "text": heard.text,
            "confidence": round(heard.confidence, 4),
            "alternatives": [
                {"text": h.text, "score": round(h.score, 4)} for h in heard.hypotheses[1:]
            ],
            "meaning": meaning,
        }
        if as_json:
            print_json(line)
        else:
            place = f"{sound.source} {heard.start:.2f}-{heard.end:.2f} s"
            console.print(f"{place}  {heard.text or '(not understood)'}  {_short(meaning)}")


def parse(
    text: Annotated[str, typer.Argument(help="What was said, in words or digits.")],
    plan: PlanOption,
    step: StepOption = None,
    as_json: Json = False,
) -> None:
    """Tell what a text means at a step of a plan."""
    loaded, at, spoken, _ = _spoken(plan, step)
    meaning = _meaning(Heard.of_text(text), spoken, at, loaded.plan)
    if as_json:
        print_json(meaning)
    else:
        console.print(_short(meaning))


def demo(
    job: Annotated[Path | None, typer.Option("--job", help="Job folder; else a new one.")] = None,
    session: Annotated[
        str, typer.Option("--session", help="Which recorded session: see --list.")
    ] = "open-winding",
    engine: Engine = EngineName.auto,
    model: Model = None,
    voice: Voice = "off",
    list_sessions: Annotated[bool, typer.Option("--list", help="List the sessions.")] = False,
) -> None:
    """Run a recorded session: sound to log, verdict and report. No microphone is needed."""
    from handsfree.report import report_file

    recordings = data_folder("demo_audio")
    sessions = sorted(path.parent.name for path in recordings.glob("*/manifest.json"))
    if list_sessions:
        for name in sessions:
            console.print(name)
        return
    if session not in sessions:
        raise BadInput(
            f"there is no recorded session {session!r}", remedy=f"Known: {', '.join(sessions)}"
        )
    loaded = load_plan("flap-actuator-5wire")
    folder = job or _new_folder(loaded)
    clips = sorted((recordings / session).glob("*.flac"))
    done = run_session(loaded, folder, Ears(engine.value, model), files(clips), voice=voice)
    report = folder / "report.html"
    report_file(folder, report)
    finding = done.session.finding
    console.print(f"verdict: {finding.part if finding else 'no rule names a part'}")
    console.print(f"report: {report}")


def _new_folder(loaded: LoadedPlan) -> Path:
    stem = Path(loaded.source).stem
    return Path("jobs") / f"{stem}-{datetime.now():%Y%m%d-%H%M%S}"


def _spoken(plan: str, step: str | None) -> tuple[LoadedPlan, Step | None, SpokenPlan, str]:
    """The plan, the step by its id, the plan as it is spoken, and a hint for the engine."""
    loaded = load_plan(plan)
    at = None
    if step is not None:
        try:
            at = loaded.plan.step(step)
        except KeyError:
            known = ", ".join(s.id for s in loaded.plan.steps)
            raise BadInput(
                f"the plan has no step {step!r}", where="--step", remedy=f"Known: {known}"
            ) from None
    desk = Dialogue(loaded.plan, load_language(loaded.plan.language)).desk
    return loaded, at, desk.spoken, desk.wording.hint


def _meaning(heard: Heard, spoken: SpokenPlan, step: Step | None, plan: Plan) -> dict[str, Any]:
    understood = interpret(heard, spoken, step)
    if step is not None:
        understood = resolve(understood, step, plan, {})
    return plain_understood(understood, plan)


def _short(meaning: dict[str, Any]) -> str:
    if meaning["kind"] == "ambiguous":
        return "ambiguous: " + " or ".join(_short(c) for c in meaning["candidates"])
    if meaning["kind"] == "unclear":
        return f"unclear: {meaning['reason']}"
    shown = "over limit" if meaning.get("over_limit") else f"{meaning['value']:}"
    parts = [meaning["kind"], meaning["wire"], shown, meaning["unit"]]
    return " ".join(str(part) for part in parts if part)
