"""Everything that follows from a description: a plan as the dialogue walks through it.

description, settings -> wiring (parts) -> asking (tests) -> telling (which tell, what they read)
            -> wording (prompts, probing, reasons) -> derive (a plan as plain data)
"""

from handsfree.plan.derived.derive import derive, is_description, nominals
from handsfree.plan.derived.description import Description

__all__ = ["Description", "derive", "is_description", "nominals"]
