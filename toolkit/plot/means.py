"""Pictures of combination means: with every run beside them, and by two factors to show an interaction (rank 8).

They take results and draw them; they never estimate. Beside each stands ``alt_...``: the same numbers as text.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief
from toolkit.plot import answers, combinations, look
from toolkit.plot.effects import interaction_words


@look.styled
def means(frame: pd.DataFrame, runs: pd.DataFrame, brief: Brief, *, response: str, ax: Any = None) -> Any:
    """The mean of each combination with its interval, and every run behind it as a hollow mark.

    Parameters
    ----------
    frame : DataFrame
        As ``model.comparisons.means`` gives it.
    runs : DataFrame
        The run values that were analysed.
    brief : Brief
    response : str
    ax : Axes, optional

    Returns
    -------
    Axes
        One place on the horizontal axis for each combination, in the order of the brief.
    """
    log = brief.response(response).scale == "log"
    combos = combinations.present(brief, runs)
    labels = [
        look.wrapped(combinations.name(brief, combo), 16)
        + f"\nn = {len(combinations.runs_of(runs, brief, combo))}"
        for combo in combos
    ]
    ax = look.axes(ax, min(max(2.0 + 1.3 * len(combos), 7.2), 11.0), 3.6 + combinations.tall(labels))
    points: list[float] = []
    level = None
    for place, combo in enumerate(combos):
        mark = combinations.mark(brief, dict(zip(brief.factor_names, combo, strict=True)))
        measured = [
            value
            for value in combinations.runs_of(runs, brief, combo)[response].tolist()
            if combinations.on_scale(value, log)
        ]
        points += measured
        ax.plot(
            [place - 0.15 + shift for shift in combinations.spread(len(measured))],
            measured,
            linestyle="none",
            marker=mark.marker,
            markerfacecolor="none",
            markeredgecolor=mark.colour,
            markersize=6,
            zorder=3,
        )
        row = combinations.mean_of(frame, brief, response, combo)
        if row is not None:
            edges = [answers.value(row[key]) for key in ("estimate", "conf_low", "conf_high")]
            level = row["conf_level"]
            points += [edge for edge in edges if edge is not None]
            combinations.bar(ax, place + 0.15, edges[0], edges[1], edges[2], mark)
    combinations.upright(ax, points, log)
    ax.set_xlim(-0.6, len(combos) - 0.4)
    ax.set_xticks(range(len(combos)), labels, rotation=90 if len(combos) > 8 else 0)
    ax.set_ylabel(answers.quantity(brief, response) + (", log scale" if log else ""))
    ax.set_xlabel(
        "hollow: one mark a run"
        + (
            f"; filled: {_mean_name(log)} with {answers.level_text(level)} interval"
            if level is not None
            else ""
        )
    )
    look.title(ax, _extremes(frame, brief, response, combos))
    return ax


def alt_means(frame: pd.DataFrame, runs: pd.DataFrame, brief: Brief, *, response: str) -> str:
    """What ``means`` shows, as text made from the same numbers."""
    asked = brief.response(response)
    said = []
    for combo in combinations.present(brief, runs):
        row = combinations.mean_of(frame, brief, response, combo)
        told = "no mean" if row is None else combinations.told(row, asked.scale == "log", asked.measured_in)
        count = look.name_of_runs(len(combinations.runs_of(runs, brief, combo)))
        said.append(f"{combinations.name(brief, combo)}: {told}, {count}.")
    return (
        f"{_mean_name(asked.scale == 'log').capitalize()} of {measured_in.label(response)} of each combination "
        f"with its interval, and every run beside it. {' '.join(said)}"
    )


@look.styled
def interaction(
    frame: pd.DataFrame,
    means: pd.DataFrame,
    verdicts: pd.DataFrame | None,
    brief: Brief,
    *,
    comparison: str,
    ax: Any = None,
) -> Any:
    """Combination means, a series for each level of the second factor; the interval on top.

    Parameters
    ----------
    frame : DataFrame
        As ``model.comparisons`` gives it, one response.
    means : DataFrame
        As ``model.comparisons.means`` gives it, the same response.
    verdicts : DataFrame or None
    brief : Brief
    comparison : str
        Name of the comparison that asks for the interaction.
    ax : Axes, optional

    Returns
    -------
    Axes
        The first factor's levels along the axis, again for each combination of the factors not named.
    """
    response = answers.only_response(frame, brief)
    log = brief.response(response).scale == "log"
    asked = next(item for item in brief.comparisons if item.name == comparison)
    first, second = (brief.factor(name) for name in asked.interaction[:2])
    others = [factor for factor in brief.factors if factor.name not in (first.name, second.name)]
    along = [
        {**dict(zip([item.name for item in others], group, strict=True)), first.name: level}
        for group in product(*(item.names for item in others))
        for level in first.names
    ]
    labels = [
        "\n".join(
            look.wrapped(combinations.level_name(factor, chosen[factor.name]), 18)
            for factor in (first, *others)
        )
        for chosen in along
    ]
    ax = look.axes(ax, min(max(3.4 + 1.2 * len(along), 7.2), 11.0), 3.6 + combinations.tall(labels))
    points: list[float] = []
    for at, series in enumerate(second.names):
        mark = look.mark(at)
        shift = (at - (len(second.names) - 1) / 2) * min(0.16, 0.5 / len(second.names))
        before: tuple[float, float] | None = None
        for place, chosen in enumerate(along):
            levels = {**chosen, second.name: series}
            row = combinations.mean_of(means, brief, response, [levels[name] for name in brief.factor_names])
            before = None if row is None or place % len(first.names) == 0 else before
            if row is None:
                continue
            edges = [answers.value(row[key]) for key in ("estimate", "conf_low", "conf_high")]
            points += [edge for edge in edges if edge is not None]
            combinations.bar(ax, place + shift, edges[0], edges[1], edges[2], mark)
            if before is not None:
                ax.plot(
                    [before[0], place + shift],
                    [before[1], edges[0]],
                    color=mark.colour,
                    linestyle=mark.line,
                    linewidth=1.2,
                )
            before = (place + shift, edges[0])
        ax.plot(
            [],
            [],
            color=mark.colour,
            marker=mark.marker,
            linestyle=mark.line,
            label=look.wrapped(combinations.level_name(second, series), 24),
        )
    combinations.upright(ax, points, log)
    ax.set_xlim(-0.5, len(along) - 0.5)
    ax.set_xticks(range(len(along)), labels)
    ax.set_ylabel(answers.quantity(brief, response) + (", log scale" if log else ""))
    ax.set_xlabel(f"{_mean_name(log)} of each combination with its interval; parallel lines: no interaction")
    ax.legend(loc="center left", bbox_to_anchor=(1.0, 0.5), frameon=False, labelspacing=0.8)
    row = next(item for item in answers.of(frame, verdicts, brief) if item.name == comparison)
    look.title(ax, interaction_words(row, asked, brief))
    return ax


def alt_interaction(
    frame: pd.DataFrame, means: pd.DataFrame, verdicts: pd.DataFrame | None, brief: Brief, *, comparison: str
) -> str:
    """What ``interaction`` shows, as text made from the same numbers."""
    asked = next(item for item in brief.comparisons if item.name == comparison)
    response = brief.response(answers.only_response(frame, brief))
    row = next(item for item in answers.of(frame, verdicts, brief) if item.name == comparison)
    said = []
    for combo in brief.combinations:
        mean = combinations.mean_of(means, brief, response.name, combo)
        said.append(
            f"{combinations.name(brief, combo)}: "
            + (
                "no mean"
                if mean is None
                else combinations.told(mean, response.scale == "log", response.measured_in)
            )
        )
    return (
        f"{interaction_words(row, asked, brief)}. {_mean_name(response.scale == 'log').capitalize()} of "
        f"{measured_in.label(response.name)} – {'; '.join(said)}."
    )


def _mean_name(log: bool) -> str:
    """What a combination's mean is called: on the log scale it estimates the median."""
    return "median (geometric mean)" if log else "mean"


def _extremes(frame: pd.DataFrame, brief: Brief, response: str, combos: Sequence[combinations.Levels]) -> str:
    """The title of the picture of means: the best combination and its value."""
    asked = brief.response(response)
    found = [
        (row["estimate"], combo, row)
        for combo in combos
        if (row := combinations.mean_of(frame, brief, response, combo)) is not None
    ]
    if not found:
        return f"{measured_in.label(response).capitalize()} of every run"
    best = (min if asked.better == "smaller" else max)(found, key=lambda item: item[0])
    extreme = {"smaller": "Smallest", "larger": "Largest"}[asked.better]
    return (
        f"{extreme} {_mean_name(asked.scale == 'log').split(' ')[0]} of {measured_in.label(response)}: "
        f"{combinations.name(brief, best[1])}, {combinations.told(best[2], asked.scale == 'log', asked.measured_in)}"
    )
