"""Every sentence of the grammar has a meaning, and the meaning said back is the same one.

Asides have no wording of their own: of these it is checked that they are understood as what they
are, and never as something that would be logged.
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from handsfree.check import Taken
from handsfree.dialogue import Wording
from handsfree.grammar import ANY, SpokenPlan
from handsfree.heard import Heard
from handsfree.languages import load_language
from handsfree.meaning import Ambiguous, Aside, Meaning, Unclear, interpret
from handsfree.meaning.meanings import NO_UNIT
from handsfree.meaning.plain import plain
from handsfree.plan import Step, load_plan

SENTENCES = {"en": 5_000, "ko": 1_000}
NOTHING_TAKEN: Taken = {}
KOREAN_PLAN = Path(__file__).parent / "data" / "plans" / "korean.yaml"


@pytest.fixture(params=SENTENCES)
def plans(request: pytest.FixtureRequest, some_spoken_plans: list[SpokenPlan]) -> list[SpokenPlan]:
    """Plans in a language: some shipped ones, or the Korean one."""
    if request.param == "en":
        return some_spoken_plans
    return [SpokenPlan(load_language(request.param), load_plan(KOREAN_PLAN).plan)]


def meaning(text: str, spoken: SpokenPlan, step: Step) -> Meaning:
    return interpret(Heard.of_text(text), spoken, step).meaning


def same(spoken: SpokenPlan, said: Meaning, again: Meaning) -> bool:
    """Equal but for how the number was formed and whether the unit was said."""
    how = {"form", "spoken", "unit_spoken"}

    def bare(m: Meaning) -> dict[str, object]:
        fields = plain(m, spoken.plan)
        if "take" in fields:
            fields["take"] = {k: v for k, v in fields["take"].items() if k not in how}
        return {k: v for k, v in fields.items() if k not in how}

    return bare(said) == bare(again)


def asides(spoken: SpokenPlan, step: Step, words: list[str]) -> set[str]:
    """The kinds of aside that `words` can be; none if they can be anything else."""
    parses = [
        {t for t in tags if t.startswith("aside ")} for tags in spoken.automaton(step).parses(words)
    ]
    return {tag.split()[1] for tag in set().union(*parses)} if all(parses) else set()


def test_thousands_of_sentences(plans: list[SpokenPlan]) -> None:
    rng = random.Random(5000)
    count = SENTENCES[plans[0].language.name]
    wrong: list[object] = []
    for number in range(count):
        spoken = plans[number % len(plans)]
        step = rng.choice(spoken.plan.steps)
        words = spoken.automaton(step).sample(rng)
        text = " ".join("seal" if word == ANY else word for word in words)
        found = meaning(text, spoken, step)
        kinds = asides(spoken, step, words)
        if kinds or isinstance(found, Aside):
            if not (isinstance(found, Aside) and found.kind in kinds):
                wrong.append((text, step.id, found))
            continue
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
    assert wrong == [], f"{len(wrong)} of {count}: {wrong[:5]}"
