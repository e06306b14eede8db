"""Which part of the circuit is at fault, and which test to make next.

`conclude` follows the plan's own rules.  `Diagnosis` reckons with the plan's circuit: what
every test reads under every fault, weighed by the takes.

    diagnosis = Diagnosis.of(plan.circuit)
    belief = diagnosis.belief(takes)
    explain(belief, plan.circuit).ranking[0]
    diagnosis.next_tests(belief, open_steps, setups)[0]
"""

from handsfree.diagnosis.belief import SURE, Belief, bounded
from handsfree.diagnosis.causes import NONE_OF_THESE, SOUND, Cause
from handsfree.diagnosis.choice import Proposal, enough
from handsfree.diagnosis.diagnose import Diagnosis
from handsfree.diagnosis.explain import Evidence, Explanation, Ranked, explain
from handsfree.diagnosis.rehearsal import Rehearsed, rehearse
from handsfree.diagnosis.rules import conclude
from handsfree.diagnosis.synthetic import Synthetic, simulate_jobs
from handsfree.diagnosis.verdict import Candidate, Verdict, verdict

__all__ = [
    "NONE_OF_THESE",
    "SOUND",
    "SURE",
    "Belief",
    "Candidate",
    "Cause",
    "Diagnosis",
    "Evidence",
    "Explanation",
    "Proposal",
    "Ranked",
    "Rehearsed",
    "Synthetic",
    "Verdict",
    "bounded",
    "conclude",
    "enough",
    "explain",
    "rehearse",
    "simulate_jobs",
    "verdict",
]
