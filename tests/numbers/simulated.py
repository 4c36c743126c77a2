"""20,000 campaigns of each of a dozen designs beside what is worked out for them, kept in simulated.json.

    python -m tests.numbers.simulated

Takes about a minute. tests/unit/size/test_simulated_numbers.py reads the file, and finds out when it is stale: a first
share of campaigns is drawn and analysed again there, and what is worked out is worked out again.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from tests.unit.size.test_simulate import designs
from toolkit.design import questions
from toolkit.size import _counting as counting
from toolkit.size import simulate
from toolkit.size._judging import Judging
from toolkit.size._share import Share
from toolkit.size.conditions import Conditions

STORED = Path(__file__).with_name("simulated.json")
CAMPAIGNS, SEED, FIRST = 20_000, 41, 500
LOST = Conditions("8 % of the runs lost at random", lost_share=0.08)


def first_share(name: str) -> dict[str, list[int]]:
    """What is counted in the first campaigns of a design, with and without lost runs: changes when anything does."""
    brief, laid, known, _ = designs()[name]
    rows = np.array([questions.of_comparison(brief, item, laid.terms).row for item in brief.comparisons])
    each = np.ones(len(rows))
    made = {}
    for asked in (Conditions(), LOST):
        share = Share(
            Judging(laid, rows), known.response, known, asked, 0.2 * each, 0.2 * each, 0.95 * each, FIRST, True
        )
        found = counting.counted(share, np.random.default_rng(SEED))
        made[asked.name] = [*found.shown.tolist(), *found.alarms.tolist(), *found.verdicts.ravel().tolist()]
    return made


def found(name: str) -> dict[str, object]:
    """One design: worked out and simulated, each comparison in turn."""
    brief, laid, known, slack = designs()[name]
    made = simulate.simulated(brief, laid, known, plan=name, campaigns=CAMPAIGNS, seed=SEED)
    told = made.to_json()
    keys = (
        "comparison",
        "power",
        "assurance",
        "false_alarms",
        "coverage",
        "wrong_way",
        "verdicts",
        "worked_out",
        "gap",
    )
    return {
        "slack": slack,
        "answers": [{key: answer[key] for key in keys} for answer in told["answers"]],
        "first": first_share(name),
    }


def main() -> None:
    """Simulate every design, print its gaps and store the whole."""
    whole = {"campaigns": CAMPAIGNS, "seed": SEED, "designs": {name: found(name) for name in designs()}}
    for name, design in whole["designs"].items():
        for answer in design["answers"]:
            gaps = " ".join(f"{key} {100 * gap:+.2f} points" for key, gap in answer["gap"].items())
            print(f"{name:34s} {answer['comparison']:10s} {gaps}  false alarms {answer['false_alarms']['share']:.4f}")
    STORED.write_text(json.dumps(whole, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
