"""The state that a voltage means, at a step that asks for a state in words."""

from __future__ import annotations

from handsfree.meaning.meanings import Reading, State, Take
from handsfree.plan.measure import StateName
from handsfree.plan.schema import Plan, Step

#: Shares of the supply: from here a wire is at battery voltage, and up to here at ground; between
#: the two it is neither.  Common practice, no published source.
AT_BATTERY, AT_GROUND = 0.75, 0.05


def as_state(take: Take, step: Step, plan: Plan) -> Take:
    """A voltage as the state that it means there; anything else, or between two states, as it is.

    The circuit of the plan tells the voltages of its words, the supply does where there is none.
    """
    states = step.measure.states
    if not states or not isinstance(take, Reading) or take.value is None:
        return take
    if not take.value.check("[electric_potential]"):
        return take
    volts = float(take.value.m_as("V"))
    test = plan.circuit.tests.get(step.id) if plan.circuit else None
    name: str | None
    if test and test.measures == "voltage" and test.words and test.before is None:
        name = next((w for w, span in test.words.items() if span.low <= volts <= span.high), None)
    else:
        name = _by_supply(volts / float(plan.supply.m_as("V")), states)
    return State(name, take.wire, take) if name in states and name is not None else take


def _by_supply(share: float, states: tuple[StateName, ...]) -> str | None:
    """The state by the share of the supply that is read."""
    if share <= -AT_BATTERY:
        return "reverses"
    if share >= AT_BATTERY:
        names = ("battery", "short to supply", "switches to supply", "unchanged")
    elif abs(share) <= AT_GROUND:
        names = ("ground", "short to ground", "switches to ground", "dead")
    else:
        return None
    return next((name for name in names if name in states), None)
