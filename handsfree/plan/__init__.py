"""Plans: what is to be probed, under which condition, what is expected, what follows."""

from handsfree.plan.document import Mistake
from handsfree.plan.load import LoadedPlan, load_plan, load_text, shipped
from handsfree.plan.parse import BadPlan, json_schema, parse_plan
from handsfree.plan.schema import (
    COMMON_PRACTICE,
    NO_OHMMETER,
    Condition,
    Expect,
    Finding,
    Measure,
    Option,
    Outcome,
    Pin,
    Plan,
    Step,
)

__all__ = [
    "COMMON_PRACTICE",
    "NO_OHMMETER",
    "BadPlan",
    "Condition",
    "Expect",
    "Finding",
    "LoadedPlan",
    "Measure",
    "Mistake",
    "Option",
    "Outcome",
    "Pin",
    "Plan",
    "Step",
    "json_schema",
    "load_plan",
    "load_text",
    "parse_plan",
    "shipped",
]
