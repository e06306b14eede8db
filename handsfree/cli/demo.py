"""`handsfree demo`: a recorded session from sound to log, verdict and report."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from handsfree.cli.diagnosis import show_explanation
from handsfree.cli.options import EngineName, EngineOption, ModelOption, VoiceOption
from handsfree.cli.output import console
from handsfree.cli.session import DictatedSession
from handsfree.dialogue.informed import explanation
from handsfree.errors import BadInput
from handsfree.languages import data_folder
from handsfree.live.verbosity import Verbosity
from handsfree.plan import load_plan
from handsfree.sound.recordings import recorded
from handsfree.words import Transcriber


def register(app: typer.Typer) -> None:
    """Add this command."""
    app.command(epilog="Example: handsfree demo")(demo)


def demo(
    job: Annotated[Path | None, typer.Option("--job", help="Job folder; else a new one.")] = None,
    session: Annotated[
        str, typer.Option("--session", help="Which recorded session: see --list.")
    ] = "low-beam",
    engine: EngineOption = EngineName.auto,
    model: ModelOption = None,
    voice: VoiceOption = "off",
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
    manifest = json.loads((recordings / session / "manifest.json").read_text(encoding="utf-8"))
    clips = [recordings / session / each["file"] for each in manifest["utterances"]]
    loaded = load_plan(manifest["plan"])
    scenario = loaded.plan.subject.model_dump(exclude_defaults=True)
    details = {"subject": scenario} if scenario else {}
    ears = Transcriber(engine.value, model, apart=True)
    run = DictatedSession(loaded, job, ears, voice, Verbosity.normal, details=details)
    done = run.run_files(recorded(clips)).session
    run.tell_end()
    report = run.folder / "report.html"
    report_file(run.folder, report)
    console.print(f"verdict: {done.finding.part if done.finding else 'no rule names a part'}")
    found = explanation(run.dialogue.at(done), done)
    if found:
        show_explanation(found)
    console.print(f"report: {report}")
