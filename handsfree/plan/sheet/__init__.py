"""A plan without a circuit: wires, conditions, and what each wire reads under each of them.

A free job begins with an empty sheet, which grows as wires and conditions are named; the sheet of a
job that is through, with ranges around what was read, is a plan.
"""

from handsfree.plan.sheet.free import FreePlan, grown, test_of
from handsfree.plan.sheet.sheet import Sheet, SheetWire, identifier, in_sheet, is_sheet, written_out

__all__ = [
    "FreePlan",
    "Sheet",
    "SheetWire",
    "grown",
    "identifier",
    "in_sheet",
    "is_sheet",
    "test_of",
    "written_out",
]
