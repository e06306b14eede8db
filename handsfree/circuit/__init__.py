"""A circuit in a plan: what each wire should read under each condition and each fault.

    values -> faults -> elements -> parts -> model      what a plan writes
    usual, library                                      the faults that parts bring of themselves
    meter                                               how it loads the circuit, and errs
    template -> states -> variants -> network           the solver (elimination: sparse systems)
    solve (readings under every fault), expect (readings of the sound circuit)

`physics` holds the trade's formulas with their sources.
"""

from handsfree.circuit.expect import (
    Expectation,
    ExpectedWord,
    contradiction,
    expectations,
    live_ohmmeter_tests,
)
from handsfree.circuit.meter import Accuracy, Meter
from handsfree.circuit.model import Circuit, CircuitTest, Fault
from handsfree.circuit.solve import FaultSet, Predictions, simulate, single_faults

__all__ = [
    "Accuracy",
    "Circuit",
    "CircuitTest",
    "Expectation",
    "ExpectedWord",
    "Fault",
    "FaultSet",
    "Meter",
    "Predictions",
    "contradiction",
    "expectations",
    "live_ohmmeter_tests",
    "simulate",
    "single_faults",
]
