"""Picture of comparisons: each as an interval on the band of changes too small to matter (rank 8).

It takes results and draws them; it never estimates. ``alt_comparisons`` tells the same numbers as text.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief, Comparison
from toolkit.decide.verdict import NO_ERROR
from toolkit.plot import answers, combinations, look, rounding
from toolkit.plot.answers import Answer


@look.styled
def comparisons(
    frame: pd.DataFrame,
    verdicts: pd.DataFrame | None,
    brief: Brief,
    *,
    runs: int | None = None,
    ax: Any = None,
) -> Any:
    """Each comparison of one response as an interval on the band of changes too small to matter.

    Parameters
    ----------
    frame : DataFrame
        As ``model.comparisons`` gives it, one response.
    verdicts : DataFrame or None
        As ``decide.verdict`` gives it.
    brief : Brief
    runs : int, optional
        Runs that went into it, for the axis.
    ax : Axes, optional

    Returns
    -------
    Axes
        One row a comparison from the top, estimates in ratio (logarithmic axis) or in the response's unit.
    """
    rows = answers.of(frame, verdicts, brief)
    response = answers.only_response(frame, brief)
    labels = [
        look.wrapped(row.name + (" (ratio of ratios)" if row.interaction and row.ratio else ""), 26) for row in rows
    ]
    heights = [max(0.5, 0.17 * (label.count("\n") + 1) + 0.16) for label in labels]
    ax = look.axes(ax, 8.2, 1.35 + sum(heights))
    log = any(row.ratio for row in rows)
    low, high = look.limits([edge for row in rows for edge in _edges(row)], log=log)
    if log:
        look.log_axis(ax, low, high)
        ticks = look.ratio_ticks(low, high)
        ax.set_xticks(ticks, [answers.per_cent(tick, None) for tick in ticks])
    else:
        ax.set_xlim(low, high)
    bottoms = [sum(heights[: at + 1]) for at in range(len(heights))]
    places = [bottom - height / 2 for bottom, height in zip(bottoms, heights, strict=True)]
    ax.set_ylim(sum(heights) or 1.0, 0)
    look.ticks(ax, "y", places, labels)
    ax.tick_params(axis="y", length=0)
    ax.axvline(1.0 if log else 0.0, color=look.QUIET, linewidth=1, zorder=1)
    for row, place, height in zip(rows, places, heights, strict=True):
        _row(ax, row, place, height)
    look.title(ax, finding(rows, measured_in.label(response)))
    ax.set_xlabel(_across(brief, response, rows, log, runs))
    return ax


def alt_comparisons(
    frame: pd.DataFrame, verdicts: pd.DataFrame | None, brief: Brief, *, runs: int | None = None
) -> str:
    """What ``comparisons`` shows, as text made from the same numbers.

    Examples
    --------
    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("sprocket-build", place, phases=("main",))
    ...     runs = campaign.records().runs
    >>> from toolkit.model import fit
    >>> found = fit.fit(campaign.brief, runs, "elongation_um")
    >>> from toolkit.model import comparisons as model_comparisons
    >>> text = alt_comparisons(model_comparisons.comparisons(found), None, campaign.brief, runs=16)
    >>> text.split(". ")[0]
    'Changes of elongation, n = 16 runs, against the band of changes too small to matter'
    """
    rows = answers.of(frame, verdicts, brief)
    so_far = f"Interim, {rows[0].interim}: changes" if rows and rows[0].interim else "Changes"
    lead = f"{so_far} of {measured_in.label(answers.only_response(frame, brief))}"
    lead += f", {look.name_of_runs(runs)}" if runs is not None else ""
    said = [
        f"{row.name}: {row.change}"
        + (f" ({row.interval_name} {row.interval})" if row.estimable else "")
        + (f", {row.verdict}." if row.verdict else ".")
        for row in rows
    ]
    return f"{lead}, against the band of changes too small to matter. {' '.join(said)}".rstrip()


def finding(rows: Sequence[Answer], what: str) -> str:
    """The title of a picture of comparisons: each verdict when there are few, else a count."""
    judged = [row for row in rows if row.verdict]
    if rows and not any(row.estimable for row in rows):
        so_far = f"INTERIM, {rows[0].interim}: " if rows[0].interim else ""
        none = "no comparison" if len(rows) == 1 else f"none of {len(rows)} comparisons"
        said = f"{none} of {what} can be estimated"
        return f"{so_far}{said}" if so_far else look.capital(said)
    if not judged:
        return f"Changes of {what}"
    if judged[0].interim:
        return f"INTERIM, {judged[0].interim}: changes of {what} so far, no claims"
    alike = len(judged) > 2 and len({row.verdict for row in judged}) == 1
    if len(judged) <= 4 and not alike and sum(len(row.name) + len(row.verdict) for row in judged) <= 150:
        return f"{look.capital(what)}: " + "; ".join(f"{row.name} – {row.verdict}" for row in judged)
    counts = [(name, sum(row.verdict == name for row in judged)) for name in answers.VERDICTS]
    return f"{look.capital(what)}, {len(judged)} comparisons: " + "; ".join(
        f"{count} {name}" for name, count in counts if count
    )


def interaction_words(row: Answer, asked: Comparison, brief: Brief) -> str:
    """An interaction with its own interval in one sentence: how far two changes differ."""
    if not row.estimable:
        return f"{row.name}: {row.note or 'not estimable'}"
    factors = [brief.factor(name) for name in asked.interaction]
    *inner, last = factors
    here, there = (combinations.level_name(last, last.names[at]) for at in (-1, 0))
    if len(inner) == 1:
        first = inner[0]
        change = f"{combinations.level_name(first, first.names[-1])} against {first.names[0]}"
    else:
        names = " × ".join(combinations.factor_name(factor) for factor in inner)
        change = f"of {'ratios' if row.ratio else 'differences'} for {names}"
    if row.ratio:
        # Two decimals more than in per cent: the same rounding, so that nothing crosses 1 by it.
        places = 2 + (row.places or 0)
        number, low, high = (
            "" if edge is None else rounding.fixed(edge, places) for edge in (row.estimate, row.low, row.high)
        )
        told = f"the ratio {change} at {here} is {number} times that at {there}"
        limits = f"{low} to {high}"
    else:
        told = f"the difference {change} at {here} less that at {there} is {row.change}"
        limits = row.interval
    interval = f"{row.interval_name} {limits}" if row.low is not None else "no interval"
    return f"{row.name}: {told} ({interval})" + (f" – {row.verdict}" if row.verdict else "")


def _edges(row: Answer) -> list[float]:
    """What the axis must hold for one row: the interval, the band and no change."""
    held = [edge for edge in (row.estimate, row.low, row.high) if edge is not None]
    return [*held, *row.band, 1.0 if row.ratio else 0.0]


def _row(ax: Any, row: Answer, place: float, height: float) -> None:
    """Draw one comparison: band, interval, estimate, and its numbers and verdict at the right."""
    band = row.band
    if band:
        ax.fill_betweenx(
            [place - height / 2, place + height / 2], band[0], band[1], color=look.BAND, linewidth=0, zorder=0
        )
    words = [row.verdict] if row.verdict else []
    if not row.estimable:
        words = ["not estimable"]
    else:
        settled = row.verdict not in ("", "not known yet", NO_ERROR) and not row.interim
        colour = _colour(row.verdict)
        if row.low is not None and row.high is not None:
            ax.plot(
                [row.low, row.high],
                [place, place],
                color=colour,
                linewidth=2.2,
                solid_capstyle="butt",
                zorder=3,
            )
        ax.plot(
            [row.estimate],
            [place],
            marker="o",
            color=colour,
            markersize=7.5,
            linestyle="none",
            markerfacecolor=colour if settled else "white",
            zorder=4,
        )
        words.append(f"{row.change} ({row.interval})")
    ax.annotate(
        "\n".join(words),
        (1.02, place),
        xycoords=("axes fraction", "data"),
        va="center",
        ha="left",
        annotation_clip=False,
    )


def _colour(verdict: str) -> str:
    """The colour of a verdict; the word beside it says the same."""
    if "gain" in verdict:
        return look.PALETTE[0]
    return look.PALETTE[1] if "loss" in verdict else look.INK


def _across(brief: Brief, response: str, rows: Sequence[Answer], log: bool, runs: int | None) -> str:
    """What stands under the axis: quantity, which way is better, what bars and band are, runs."""
    smaller = brief.response(response).better == "smaller"
    name = measured_in.label(response) if log else answers.quantity(brief.response(response))
    sides = ("← better", "worse →") if smaller else ("← worse", "better →")
    bands = {row.band_text for row in rows}
    grey = "grey: too small to matter"
    if len(bands) == 1:
        grey += f" ({next(iter(bands))})"
    parts = [
        f"bars: {rows[0].interval_name}" if rows else "",
        grey if bands - {""} else "",
        look.name_of_runs(runs) if runs is not None else "",
    ]
    return f"{sides[0]}    change of {name}{', log scale' if log else ''}    {sides[1]}\n" + "; ".join(
        part for part in parts if part
    )
