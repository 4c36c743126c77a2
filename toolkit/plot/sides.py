"""Picture of one comparison: the runs on both sides of it, with means where the tables have them (rank 8)."""

from __future__ import annotations

from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief
from toolkit.plot import answers, combinations, look

_WIDEST = 0.4


@look.styled
def sides(
    frame: pd.DataFrame,
    means: pd.DataFrame,
    runs: pd.DataFrame,
    verdicts: pd.DataFrame | None,
    brief: Brief,
    *,
    comparison: str,
    ax: Any = None,
) -> Any:
    """The runs that one comparison sets against each other, its answer in the title.

    Parameters
    ----------
    frame : DataFrame
        As ``model.comparisons`` gives it, one response.
    means : DataFrame
        As ``model.comparisons.means`` gives it, the same response.
    runs : DataFrame
        The run values that were analysed.
    verdicts : DataFrame or None
    brief : Brief
    comparison : str
        Name of a comparison of levels (an interaction has ``means.interaction``).
    ax : Axes, optional

    Returns
    -------
    Axes
        The side compared against on the left, the side asked about on the right.
    """
    asked = brief.response(answers.only_response(frame, brief))
    question = brief.comparison(comparison)
    ax = look.axes(ax, 4.4, 3.6)
    points: list[float] = []
    labels = []
    for place, levels in enumerate((question.against, question.of)):
        chosen = combinations.runs_of(runs, levels)
        labels.append(combinations.stacked(brief, levels, 22) + f"\n{look.name_of_runs(len(chosen))}")
        present = combinations.present(brief, chosen)
        for turn, combo in enumerate(present):
            every = combinations.levels_of(brief, combo)
            # Many combinations stand closer, so that none comes near the other side or the axis.
            step = min(0.1, _WIDEST / max(len(present) - 1, 1))
            shift = -0.2 - step * (len(present) - 1 - turn)
            points += combinations.hollow(
                ax, place + shift, combinations.runs_of(chosen, every), asked, combinations.mark(brief, every)
            )
        row = combinations.mean_of(means, asked.name, levels)
        if row is not None:
            points += combinations.bar(ax, place + 0.15, row, look.Mark(look.INK, "o", "-"))
    combinations.upright(ax, points, asked)
    ax.set_xlim(-0.75, 1.5)
    look.ticks(ax, "x", [0, 1], labels)
    row = next(item for item in answers.of(frame, verdicts, brief) if item.name == comparison)
    told = f"hollow: runs, {combinations.mark_words(brief)}; filled: {combinations.mean_name(asked)} with "
    ax.set_xlabel(look.wrapped(f"{told}{answers.level_text(brief.conf_level)} interval", 52))
    look.title(ax, words(row))
    return ax


def alt_sides(
    frame: pd.DataFrame,
    means: pd.DataFrame,
    runs: pd.DataFrame,
    verdicts: pd.DataFrame | None,
    brief: Brief,
    *,
    comparison: str,
) -> str:
    """What ``sides`` shows, as text made from the same numbers."""
    asked = brief.response(answers.only_response(frame, brief))
    question = brief.comparison(comparison)
    row = next(item for item in answers.of(frame, verdicts, brief) if item.name == comparison)
    said = []
    for levels in (question.against, question.of):
        count = look.name_of_runs(len(combinations.runs_of(runs, levels)))
        told = combinations.told(combinations.mean_of(means, asked.name, levels), asked)
        said.append(f"{combinations.name(brief, levels)}: {told}, {count}")
    return f"Runs of {measured_in.label(asked.name)} on both sides. {words(row)}. {'; '.join(said)}."


def words(row: answers.Answer) -> str:
    """An answer in a line: 'coating: −26 % (95 % interval −35 to −15 %), worthwhile gain'."""
    if not row.estimable:
        return f"{row.name}: not estimable"
    interval = f" ({row.interval_name} {row.interval})" if row.low is not None else " (no interval)"
    return f"{row.name}: {row.change}{interval}" + (f", {row.verdict}" if row.verdict else "")
