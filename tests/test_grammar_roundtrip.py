"""Every sentence of the grammar has a meaning, and the meaning said back is the same one."""

from __future__ import annotations

import random

from handsfree.check import Taken
from handsfree.dialogue import Wording
from handsfree.grammar import ANY, SpokenPlan
from handsfree.heard import Heard
from handsfree.meaning import Ambiguous, Meaning, Unclear, interpret
from handsfree.meaning.meanings import NO_UNIT
from handsfree.meaning.plain import plain
from handsfree.plan import Step

SENTENCES = 5_000
NOTHING_TAKEN: Taken = {}


def meaning(text: str, spoken: SpokenPlan, step: Step) -> Meaning:
    return interpret(Heard.of_text(text), spoken, step).meaning


def same(spoken: SpokenPlan, said: Meaning, again: Meaning) -> bool:
    """Equal but for how the number was formed and whether the unit was said."""
    how = {"form", "spoken"}

    def bare(m: Meaning) -> dict[str, object]:
        fields = plain(m, spoken.plan)
        if "take" in fields:
            fields["take"] = {k: v for k, v in fields["take"].items() if k not in how}
        return {k: v for k, v in fields.items() if k not in how}

    return bare(said) == bare(again)


def test_five_thousand_sentences(spoken_plans: list[SpokenPlan]) -> None:
    rng = random.Random(5000)
    wrong = []
    for number in range(SENTENCES):
        spoken = spoken_plans[number % len(spoken_plans)]
        step = rng.choice(spoken.plan.steps)
        words = spoken.automaton(step).sample(rng)
        text = " ".join("seal" if word == ANY else word for word in words)
        found = meaning(text, spoken, step)
        if found == Unclear(NO_UNIT):  # "twelve six" where nothing is measured in a unit
            assert not step.measure.quantity
            continue
        wording = Wording(spoken.language, spoken.plan)
        options = found.candidates if isinstance(found, Ambiguous) else (found,)
        for option in options:
            if isinstance(option, Unclear):
                wrong.append((text, step.id, option))
                continue
            again = meaning(wording.meaning(option), spoken, step)
            full = again.candidates if isinstance(again, Ambiguous) else (again,)
            if not any(same(spoken, option, a) for a in full[:1]):
                wrong.append((text, step.id, option, wording.meaning(option), again))
    assert wrong == [], f"{len(wrong)} of {SENTENCES}: {wrong[:5]}"
