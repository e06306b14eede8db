"""Plans: what is to be probed, under which condition, what is expected, what follows.

load -> document -> parse           from a file or a name to a plan, or all its errors by line
schema, measure                     what a plan holds
references, consistency, circuits   whether its parts fit together
derived                             the plan that follows from a description
adapted, sheet, amended             of one vehicle; without a circuit; as it is told in a job
"""

from handsfree.plan.amended import Amendment, amended, amended_text, changed
from handsfree.plan.document import Mistake
from handsfree.plan.load import LoadedPlan, free_plan, load_plan, load_text, shipped, titles
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
from handsfree.plan.sheet import FreePlan, Sheet

__all__ = [
    "COMMON_PRACTICE",
    "NO_OHMMETER",
    "Amendment",
    "BadPlan",
    "Condition",
    "Expect",
    "Finding",
    "FreePlan",
    "LoadedPlan",
    "Measure",
    "Mistake",
    "Option",
    "Outcome",
    "Pin",
    "Plan",
    "Sheet",
    "Step",
    "amended",
    "amended_text",
    "changed",
    "free_plan",
    "json_schema",
    "load_plan",
    "load_text",
    "parse_plan",
    "shipped",
    "titles",
]
