"""`python -m tests.torture`: the fault campaign, with a table at its end.

    campaign, tried, survived, lost (must be 0)

The same seed does the same, but for where a signal falls in time.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

from tests.torture.campaigns import CAMPAIGNS
from tests.torture.damage import damaged_logs

SHOWN = 5
"""Cases that were lost, of each campaign, that are described."""


def main() -> int:
    """Run every campaign; 1 if anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--share", type=float, default=1.0, help="of the cases, 0 to 1")
    parser.add_argument("--only", default="", help="campaigns whose name holds this")
    asked = parser.parse_args()
    table, lost = [], Counter[str]()
    campaigns = [*CAMPAIGNS, ("damaged logs, read by every command", 300, damaged_logs)]
    for name, size, case in campaigns:
        if asked.only not in name:
            continue
        count, began = max(round(size * asked.share), 1), time.monotonic()
        for number in range(count):
            rng = random.Random(f"{asked.seed} {name} {number}")
            with tempfile.TemporaryDirectory(prefix="torture-") as folder:
                try:
                    case(Path(folder), rng)
                except Exception as error:
                    lost[name] += 1
                    if lost[name] <= SHOWN:
                        kind = type(error).__name__
                        print(f"{name}, case {number}: {kind}: {error}", file=sys.stderr)
        seconds = time.monotonic() - began
        table.append((name, count, count - lost[name], lost[name], round(seconds)))
        print(f"{name}: {count} tried, {lost[name]} lost", file=sys.stderr, flush=True)
    print(f"\n| campaign (seed {asked.seed}) | tried | survived | lost | seconds |")
    print("|---|---|---|---|---|")
    for row in table:
        print(f"| {' | '.join(map(str, row))} |")
    return int(any(lost.values()))


if __name__ == "__main__":
    sys.exit(main())
