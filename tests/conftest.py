from __future__ import annotations

import pytest

from handsfree.grammar import Language, SpokenPlan
from handsfree.languages import load_language
from handsfree.plan import Plan, load_plan, shipped


@pytest.fixture(scope="session")
def english() -> Language:
    return load_language("en")


@pytest.fixture(scope="session")
def flap() -> Plan:
    return load_plan("flap-actuator-5wire").plan


@pytest.fixture(scope="session")
def spoken_flap(english: Language, flap: Plan) -> SpokenPlan:
    return SpokenPlan(english, flap)


@pytest.fixture(scope="session")
def spoken_plans(english: Language) -> list[SpokenPlan]:
    """Every shipped plan."""
    return [SpokenPlan(english, load_plan(name).plan) for name in shipped()]
