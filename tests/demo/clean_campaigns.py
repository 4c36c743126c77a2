"""Clean campaigns of pin wear, by the hundred: ``python -m tests.demo.clean_campaigns 200`` tells what is flagged.

Nothing goes wrong in them, so whatever is found is a false alarm. They have no duplicates, of which one
in twenty lies beyond its limit by chance.
"""

from __future__ import annotations

import sys
import tempfile
from collections.abc import Collection
from pathlib import Path

import pandas as pd

from tests.demo.make_data import DATA, MEASURED, brief_of
from toolkit.campaign import folder
from toolkit.decide import mass_balance
from toolkit.demo import measured
from toolkit.design import factorial, orders


def found(to: Path, seed: int, slips: Collection[str] = ()) -> pd.DataFrame:
    """The findings in one campaign drawn from a seed, its files written below ``to``; runs off the mass balance too."""
    brief = brief_of(MEASURED)
    order = orders.randomise(factorial.full(brief), seed=brief.seed)
    (to / "raw" / "traces").mkdir(parents=True, exist_ok=True)
    (to / "campaign.toml").write_bytes((DATA / MEASURED / "campaign.toml").read_bytes())
    for name, table in measured.campaign(brief, [order], seed=seed, slips=slips).items():
        table.to_csv(to / "raw" / name, index=False, lineterminator="\n")
    records = folder.open_campaign(to).records()
    balance = mass_balance.balance(brief, records.runs, records.oil)
    off = [] if balance is None else [
        {"run_id": row["run_id"], "rule": "mass balance", "found": row["causes"]}
        for row in balance.outside.to_dict("records")
    ]  # fmt: skip
    return pd.concat([records.findings, pd.DataFrame(off, columns=["run_id", "rule", "found"])], ignore_index=True)


def main(count: int) -> None:
    """Draw so many clean campaigns and print every finding."""
    flagged = 0
    for seed in range(1, count + 1):
        with tempfile.TemporaryDirectory() as place:
            told = found(Path(place), 10_000 + seed)
        flagged += bool(len(told))
        for row in told.to_dict("records"):
            print(seed, row["run_id"], row["rule"], row["found"], sep=" | ")
    print(f"{flagged} of {count} clean campaigns with a finding")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
