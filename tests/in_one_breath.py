"""How values of several wires in one breath are heard.

    python -m tests.in_one_breath 60 [--final]

Lists of two to four values at tests of shipped plans that may be said together, by the voices of
the tuning split of the speech bench (with --final, of the held-out one), in quiet, cut at the long
pause.
"""

from __future__ import annotations

import random
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from handsfree.dialogue import Response, Session
from handsfree.dialogue.breath import may_be_together
from handsfree.dialogue.desk import Desk
from handsfree.dialogue.informed import setups_after
from handsfree.errors import Missing
from handsfree.events import ReadingTaken
from handsfree.heard import Heard, Hypothesis
from handsfree.meaning import Reading, State, Take
from handsfree.plan import Step, shipped
from handsfree.sound.audio import RATE
from handsfree.sound.endpoint import Endpointer
from handsfree.words import Transcriber

from .speech_bench.phrases import dialogue
from .speech_bench.trials import in_turn
from .speech_bench.voices import Manner, Voice, installed, speak

MOST = 4
"""Values in a breath."""


def groups() -> Iterator[tuple[str, Session, list[Step]]]:
    """Tests of a plan that may be said together, where the first of them is open."""
    for name in shipped():
        desk = dialogue(name).desk
        for here in desk.plan.steps:
            session = Session(step=here.id, condition=here.condition, phase=here.phase)
            session = replace(session, setups=setups_after(desk, session, here))
            found = may_be_together(desk, session, here)
            apart = len({step.pins for step in found}) == len(found) > 1
            if apart and here == found[0] and here.measure.bare_unit == "V":
                yield name, session, found


def said(desk: Desk, step: Step, rng: random.Random) -> str:
    """A wire with a value that it may have."""
    (pin,) = step.pins
    plan_pin = desk.plan.pin(pin)
    wire = rng.choice([desk.wording.name(plan_pin), plan_pin.function])
    if step.measure.states:
        return f"{wire} {desk.wording.language.wordings('state')[f'state {step.expect.states[0]}']}"
    language = desk.wording.language
    whole, digits = rng.randint(0, 13), rng.choice(("", f"{rng.randint(1, 9)}", "03", "98"))
    number = language.written(language.integer_words(whole))
    if digits:
        number += " point " + language.written(language.digit_words(digits))
    return f"{wire} {number}{rng.choice(('', ' volts'))}"


def main(count: int, *, final: bool) -> None:
    """Measure."""
    ears = Transcriber("auto", apart=True)
    split = "held-out" if final else "tune"
    voices = [voice for voice in installed() if voice.split == split and _speaks(voice)]
    places = list(groups())
    counts: Counter[str] = Counter()
    for number in range(count):
        rng = random.Random(f"breath {number}")
        name, session, steps = rng.choice(places)
        desk, here = dialogue(name).desk, steps[0]
        some = rng.sample(steps, min(len(steps), rng.randint(2, MOST)))
        text = rng.choice((", ", " and ", ", ")).join(said(desk, step, rng) for step in some)
        wanted = _offered(dialogue(name).respond(session, Heard((Hypothesis(text),), engine="ear")))
        if len(wanted) < len(some):  # a value that is impossible there, or of two forms
            continue
        voice = in_turn(voices, number, "breath")
        sound = np.pad(speak(voice, text, Manner.drawn(rng)), (RATE // 2, 2 * RATE))
        endpointer = Endpointer()
        whole = endpointer.feed(sound) + endpointer.flush()
        if len(whole) != 1:
            counts["cut in two"] += 1
            continue
        heard = ears.hear(whole[0], desk.spoken.automaton(here), desk.wording.hint)
        response = dialogue(name).respond(session, heard)
        offered = _offered(response)
        logged = [e.entry.take for e in response.events if isinstance(e, ReadingTaken)]
        right = [_plain(one) in wanted for one in logged] + [one in wanted for one in offered]
        if not right:
            came = "asked for once more"
        elif logged:
            came = "logged"
        else:
            came = "offered, all" if len(right) == len(wanted) else "offered, some"
        came += "" if all(right) else ", one WRONG"
        counts[came] += 1
        counts["values"] += len(wanted)
        counts["values right"] += sum(right)
        if came != "offered, all":
            print(f"{came}: {text!r} by {voice.name}: {heard.text!r}")
        print(dict(counts), flush=True)


def _speaks(voice: Voice) -> bool:
    try:
        return len(speak(voice, "ready", Manner())) > 0
    except (ImportError, Missing):
        return False


def _offered(response: Response) -> list[object]:
    """The values that are asked about."""
    question = response.session.question
    return [_plain(one) for one in question.candidates] if question else []


def _plain(take: Take) -> object:
    match take:
        case Reading(value=value, wire=wire):
            return wire, str(value)
        case State(state=state, wire=wire, shown=shown):
            return _plain(shown) if shown else (wire, state)
    return take


if __name__ == "__main__":
    main(int(sys.argv[1]), final="--final" in sys.argv)
