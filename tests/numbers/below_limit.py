"""False alarms and coverage where values lie below their limit, kept in below_limit.json.

    python -m tests.numbers.below_limit [CAMPAIGNS]

20,000 campaigns of each share take about half an hour of one processor; a number after the name takes fewer, and is
stored with the result. The interval is worked out for the first tenth of them.
tests/unit/numeric/test_censored_numbers.py reads the file, and finds out when it is stale: the first campaigns are
drawn and judged again there.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np
from scipy import stats

from toolkit.numeric import censored

STORED = Path(__file__).with_name("below_limit.json")
CAMPAIGNS, FIRST, DRAWS, SEED = 20_000, 25, 199, 17
SHARES = (0.2, 0.3)
# A 2x2 in three complete blocks of builds, sum coded: mean, pin, oil, both, builds.
A, B, BUILD = np.tile([-1.0, -1.0, 1.0, 1.0], 3), np.tile([-1.0, 1.0, -1.0, 1.0], 3), np.repeat([0, 1, 2], 4)
X = np.column_stack(
    [np.ones(12), A, B, A * B, (BUILD == 0) * 1.0 - (BUILD == 2), (BUILD == 1) * 1.0 - (BUILD == 2)]
)
ROW = np.array([0.0, 2.0, 0.0, 0.0, 0.0, 0.0])


def judged(share: float, campaign: int, *, interval: bool = True) -> tuple[bool, bool | None] | None:
    """Whether one campaign without a change is a false alarm, and whether its interval covers where one is asked for.

    None if the campaign cannot be judged.
    """
    y = np.random.default_rng([SEED, campaign]).standard_normal(12)
    limit = float(stats.norm.ppf(share))
    below = y < limit
    if int((~below).sum()) < 7 or not below.any():
        return None
    values = np.maximum(y, limit)
    p = censored.ratio_p(X, values, below, ROW, limit=limit, df=6, draws=DRAWS, seed=campaign)
    if not interval:
        return p <= 0.05, None
    found = censored.limits(X, values, below, ROW, level=0.95, df=6)
    covers = (found.low is None or found.low <= 0.0) and (found.high is None or found.high >= 0.0)
    return p <= 0.05, covers


def counted(share: float, campaigns: int, intervals: int) -> dict[str, int]:
    """Of how many campaigns could be judged: false alarms, and of how many intervals how many cover."""
    drawn = (judged(share, at, interval=at < intervals) for at in range(campaigns))
    made = [one for one in drawn if one is not None]
    covers = [held for _, held in made if held is not None]
    return {
        "judged": len(made),
        "false_alarms": sum(alarm for alarm, _ in made),
        "intervals": len(covers),
        "covered": sum(covers),
    }


def main() -> None:
    """Draw and judge every campaign, print the shares and store the counts."""
    campaigns = int(sys.argv[1]) if len(sys.argv) > 1 else CAMPAIGNS
    whole: dict[str, object] = {"campaigns": campaigns, "seed": SEED, "draws": DRAWS, "shares": {}}
    for share in SHARES:
        found = counted(share, campaigns, max(FIRST, campaigns // 10))
        whole["shares"][f"{share:g}"] = {**found, "first": counted(share, FIRST, FIRST)}  # type: ignore[index]
        alarms, covered = found["false_alarms"] / found["judged"], found["covered"] / found["intervals"]
        print(f"{share:.0%} below: {found['judged']} judged, false alarms {alarms:.4f}, coverage {covered:.4f}")
    STORED.write_text(json.dumps(whole, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
