"""How well this speaker is heard: what was heard of him so far, and what it does to doubt.

An engine's probability is calibrated on many speakers, so it holds for them in the mean and not for
one who is unlike them.  What becomes of his own values tells how he differs: the share of his
values that are misheard is taken to be Beta distributed, as it is before anything was heard
(`PRIOR_WRONG` in `PRIOR_WRONG + PRIOR_RIGHT`), and each value that turns out right or wrong is one
Bernoulli trial more.  The odds of being wrong are then those of the engine, times the odds of his
share over the odds of that of all.  A speaker who is heard better than others gets no more trust
than they.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

#: The prior: as many values misheard, and as many heard right.  Chosen, not fitted: the bench has
#: no speaker with a job's worth of values.
PRIOR_WRONG, PRIOR_RIGHT = 1.0, 19.0
#: Values that an earlier job's record may count for at most, so that a cold passes.  Chosen.
CARRIED_ON = 200.0


@dataclass(frozen=True, slots=True)
class VoiceRecord:
    """The record of a speaker.

    Attributes:
        right: values that were confirmed, or stood when the next one was said.
        wrong: values that were denied, corrected or struck.
    """

    right: float = 0.0
    wrong: float = 0.0

    def heard(self, *, right: bool) -> VoiceRecord:
        """After one more value."""
        if right:
            return replace(self, right=self.right + 1)
        return replace(self, wrong=self.wrong + 1)

    def __add__(self, other: VoiceRecord) -> VoiceRecord:
        """Both records of the same person as one."""
        return VoiceRecord(self.right + other.right, self.wrong + other.wrong)

    def __sub__(self, other: VoiceRecord) -> VoiceRecord:
        """What is left of it without a part."""
        right, wrong = self.right - other.right, self.wrong - other.wrong
        return VoiceRecord(max(right, 0.0), max(wrong, 0.0))

    @property
    def faded(self) -> VoiceRecord:
        """As much of it as still counts in a later job: of `CARRIED_ON` values at most."""
        share = min(1.0, CARRIED_ON / max(self.right + self.wrong, 1.0))
        return VoiceRecord(self.right * share, self.wrong * share)

    @property
    def factor(self) -> float:
        """By how much the odds of mishearing him exceed those of mishearing anybody; 1 or more."""
        return max(
            1.0, (PRIOR_WRONG + self.wrong) / (PRIOR_RIGHT + self.right) * PRIOR_RIGHT / PRIOR_WRONG
        )

    def probability(self, likely: float) -> float:
        """The probability that he was heard right.

        Args:
            likely: that of the engine, 0 to 1.
        """
        if not 0 < likely < 1:
            return likely
        odds = math.log(likely / (1 - likely)) - math.log(self.factor)
        return 1 / (1 + math.exp(-odds))


UNHEARD = VoiceRecord()
"""Nothing was heard of him yet."""
