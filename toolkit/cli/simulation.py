"""Simulated campaigns in the terminal: sentences, one table, progress and times (rank 11)."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING, TextIO

from toolkit.cli.closing import so_far
from toolkit.cli.words import table

if TYPE_CHECKING:
    from toolkit.campaign.simulating import Simulation


def text(made: Simulation) -> str:
    """The plan, then a table and sentences for each of the conditions."""
    which = "chosen in campaign.toml" if made.chosen else "recommended"
    parts = [f"{made.plan} ({which}, {made.runs} runs), {made.campaigns:,} campaigns simulated under each condition."]
    rows = []
    for part in made.parts:
        for number, (answer, line) in enumerate(zip(part.answers, part.table.to_dict("records"), strict=True)):
            worked, gap = line["worked out (%)"], line["gap (points)"]
            rows.append(
                [
                    "" if number else part.conditions.name,
                    answer.comparison,
                    "" if worked is None else f"{worked:.1f}",
                    str(line["simulated (%)"]),
                    "" if gap is None else f"{gap:+.1f}",
                    str(line["false alarms (%)"]),
                    str(line["coverage (%)"]),
                    str(line["wrong way round (%)"]),
                ]
            )
    heads = [
        "conditions",
        "comparison",
        "worked out %",
        "simulated %",
        "gap",
        "false alarms %",
        "coverage %",
        "wrong way %",
    ]
    parts += ["", table(rows, heads)]
    verdicts = made.parts[0].answers
    names = list(verdicts[0].verdicts)
    shares = [
        [answer.comparison, *(f"{100 * answer.verdicts[name].share:.1f}" for name in names)] for answer in verdicts
    ]
    parts += [
        "",
        f"Verdicts {made.parts[0].conditions.name}, in % of campaigns:",
        table(shares, ["comparison", *names]),
    ]
    parts += [""]
    # What other conditions do stands in the table; told is what they do to the error rate.
    for part in made.parts:
        parts += [item for item in part.sentences if part.conditions.plain or "more than the" in item]
    return "\n".join([*parts, *(f"note: {note}" for note in made.notes)])


def times(made: Simulation) -> str:
    """How long it took, and how long an analysis of one set of lost runs."""
    whole = sum(part.seconds for part in made.parts)
    lines = [f"simulated in {whole:.1f} s"]
    for part in made.parts:
        if part.layouts > 1:
            each = 1e3 * part.seconds / (2 * part.layouts)
            lines.append(f"{part.layouts:,} different sets of runs left ({each:.1f} ms for each)")
    return "; ".join(lines)


def progress(where: TextIO) -> Callable[[int, int], None]:
    """A function that tells how far it is: over and over on one line of a terminal, else in quarters."""
    told, began = {"quarter": 0}, time.monotonic()

    def tell(done: int, of: int) -> None:
        """Tell it."""
        if where.isatty():
            line = f"simulated {100 * done // of} %, {so_far(done, of, time.monotonic() - began)}"
            # Blanks behind it cover a longer line before.
            print(f"\r{line:<50}", end="\n" if done == of else "", file=where, flush=True)
        elif 4 * done // of > told["quarter"]:
            told["quarter"] = 4 * done // of
            print(f"simulated {100 * done // of} %", file=where, flush=True)

    return tell
