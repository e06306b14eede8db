"""Which part of the circuit is at fault."""

from handsfree.diagnosis.rules import conclude

__all__ = ["conclude"]
