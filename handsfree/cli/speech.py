"""`handsfree hear` and `parse_words`: speech to words, words to meaning, and no further."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from handsfree.check import resolve
from handsfree.cli.options import (
    EngineName,
    EngineOption,
    Json,
    ModelOption,
    PlanOption,
    StepOption,
)
from handsfree.cli.output import console, print_json
from handsfree.dialogue import Dialogue
from handsfree.errors import BadInput
from handsfree.grammar import SpokenPlan
from handsfree.heard import Heard
from handsfree.languages import language_of
from handsfree.meaning import interpret
from handsfree.meaning.plain import plain_understood
from handsfree.plan import LoadedPlan, Plan, Step, load_plan
from handsfree.sound.recordings import recorded
from handsfree.words import Transcriber


def register(app: typer.Typer) -> None:
    """Add these commands."""
    app.command(epilog="Example: handsfree hear words.wav --plan headlamp-levelling --json")(hear)
    example = 'Example: handsfree parse "twelve six" --plan relay-4pin --json'
    app.command("parse", epilog=example)(parse_words)


def hear(
    files_heard: Annotated[list[Path], typer.Argument(metavar="FILE...", help="Recorded speech.")],
    plan: PlanOption,
    step: StepOption = None,
    engine: EngineOption = EngineName.auto,
    model: ModelOption = None,
    as_json: Json = False,
) -> None:
    """Recognise speech and stop there: what was heard and what it means, a line an utterance."""
    loaded, at, spoken, hint = _spoken(plan, step)
    ears = Transcriber(engine.value, model)
    for sound in recorded(files_heard):
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


def parse_words(
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
    desk = Dialogue(loaded.plan, language_of(loaded)).desk
    return loaded, at, desk.spoken, desk.wording.hint


def _meaning(heard: Heard, spoken: SpokenPlan, step: Step | None, plan: Plan) -> dict[str, Any]:
    understood = interpret(heard, spoken, step)
    if step is not None:
        understood = resolve(understood, step, plan, {})
    return plain_understood(understood, plan)


def _short(meaning: dict[str, Any]) -> str:
    if meaning["kind"] == "ambiguous":
        return "ambiguous: " + " or ".join(_short(c) for c in meaning["candidates"])
    if meaning["kind"] == "several":
        return "several: " + ", ".join(map(_short, meaning["candidates"]))
    if meaning["kind"] in ("unclear", "unread"):
        wire = f"{meaning['wire']} " if meaning["wire"] else ""
        return f"{wire}{meaning['kind']}: {meaning['reason']}"
    shown = "over limit" if meaning.get("over_limit") else f"{meaning['value']:}"
    parts = [meaning["kind"], meaning["wire"], shown, meaning["unit"]]
    return " ".join(str(part) for part in parts if part)
