"""Pictures of combination means: with every run beside them, and by two factors for an interaction (rank 8).

They take results and draw them; they never estimate. Beside each stands ``alt_...``: the same as text.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief, Response
from toolkit.design import base
from toolkit.plot import answers, combinations, look
from toolkit.plot.effects import interaction_words

# More combinations than this stand upended below the axis, by their levels alone.
_MANY = 8
# More factors than this are named once and not with every level.
_NAMED = 4
# More other factors than this would stand in a column too high to read.
_STACKED = 2


@look.styled
def means(
    frame: pd.DataFrame, runs: pd.DataFrame, brief: Brief, *, response: str, interim: str = "", ax: Any = None
) -> Any:
    """The mean of each combination with its interval, and every run beside it as a hollow mark.

    Parameters
    ----------
    frame : DataFrame
        As ``model.comparisons.means`` gives it.
    runs : DataFrame
        The run values that were analysed.
    brief : Brief
    response : str
    interim : str
        How far the runs are while some are pending, such as '7 of 12 runs'; empty when all are in.
    ax : Axes, optional

    Returns
    -------
    Axes
        One place on the horizontal axis for each combination, in the order of the brief.
    """
    asked = brief.response(response)
    places = [combinations.levels_of(brief, combo) for combo in combinations.present(brief, runs)]
    many = len(places) > _MANY
    # More factors than fit with their names are named once, below, in the order of the levels.
    alone = not many and len(brief.factors) > _NAMED
    write = combinations.stacked_alone if alone else combinations.stacked
    labels = [
        (combinations.upended(brief, levels) if many else write(brief, levels, 16))
        + f"\nn = {len(combinations.runs_of(runs, levels))}"
        for levels in places
    ]
    below = combinations.long(labels) if many else combinations.tall(labels)
    ax = look.axes(ax, min(max(2.0 + 1.3 * len(places), 7.2), 11.0), 3.6 + below)
    points = []
    for place, levels in enumerate(places):
        mark = combinations.mark(brief, levels)
        points += combinations.hollow(ax, place - 0.15, combinations.runs_of(runs, levels), asked, mark)
        row = combinations.mean_of(frame, response, levels)
        points += [] if row is None else combinations.bar(ax, place + 0.15, row, mark)
    combinations.upright(ax, points, asked)
    ax.set_xlim(-0.6, len(places) - 0.4)
    look.ticks(ax, "x", range(len(places)), labels, rotation=90 if many else 0)
    named = f"levels of {', '.join(map(combinations.factor_name, brief.factors))}" if many or alone else ""
    # 0.074 inch a letter.
    named = f"{look.wrapped(named, int(ax.figure.get_figwidth() / 0.074))}\n" if named else ""
    ax.set_xlabel(f"{named}hollow: one mark a run; filled: {combinations.mean_name(asked)} with {_level(frame)}")
    so_far = f"INTERIM, {interim}: {measured_in.label(response)} so far" if interim else ""
    look.title(ax, so_far or _extreme(frame, brief, asked, places))
    return ax


def alt_means(
    frame: pd.DataFrame, runs: pd.DataFrame, brief: Brief, *, response: str, interim: str = ""
) -> str:
    """What ``means`` shows, as text made from the same numbers."""
    asked = brief.response(response)
    said = []
    for combo in combinations.present(brief, runs):
        levels = combinations.levels_of(brief, combo)
        count = look.name_of_runs(len(combinations.runs_of(runs, levels)))
        told = combinations.told(combinations.mean_of(frame, response, levels), asked)
        said.append(f"{combinations.name(brief, levels)}: {told}, {count}.")
    so_far = f"Interim, {interim}. " if interim else ""
    return (
        f"{so_far}{look.capital(combinations.mean_name(asked))} of {measured_in.label(response)} of each combination "
        f"with {_level(frame)}, and every run beside it. {' '.join(said)}"
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
    """Combination means, a series for each level of the second factor; the interaction's interval on top.

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
    asked = brief.response(answers.only_response(frame, brief))
    question = brief.comparison(comparison)
    first, second = (brief.factor(name) for name in question.interaction[:2])
    others = [factor for factor in brief.factors if factor.name not in (first.name, second.name)]
    every = [
        {**dict(zip([item.name for item in others], group, strict=True)), first.name: level}
        for group in product(*(item.names for item in others))
        for level in first.names
    ]

    def mean(chosen: dict[str, str], series: str) -> dict[str, Any] | None:
        """The mean at one place of one series."""
        return combinations.mean_of(means, asked.name, {**chosen, second.name: series})

    # Of a part of the combinations most places would stand empty.
    along = [chosen for chosen in every if any(mean(chosen, series) is not None for series in second.names)]
    along = along or every[: len(first.names)]
    many = len(along) > _MANY or len(others) > _STACKED
    labels = [
        combinations.upended(brief, chosen)
        if many
        else "\n".join(
            look.wrapped(combinations.level_name(factor, chosen[factor.name]), 18) for factor in (first, *others)
        )
        for chosen in along
    ]
    below = combinations.long(labels) if many else combinations.tall(labels)
    ax = look.axes(ax, min(max(3.4 + 1.2 * len(along), 7.2), 11.0), 3.6 + below)
    points: list[float] = []
    for at, series in enumerate(second.names):
        mark = look.mark(at)
        shift = (at - (len(second.names) - 1) / 2) * min(0.16, 0.5 / len(second.names))
        line: list[tuple[float, float]] = []
        for place, chosen in enumerate(along):
            row = mean(chosen, series)
            if row is not None:
                points += combinations.bar(ax, place + shift, row, mark)
                line.append((place + shift, row["estimate"]))
            last = place + 1 == len(along) or {**along[place + 1], first.name: ""} != {**chosen, first.name: ""}
            if row is None or last:
                if len(line) > 1:
                    ax.plot(*zip(*line, strict=True), color=mark.colour, linestyle=mark.line, linewidth=1.2)
                line = []
        name = look.wrapped(combinations.level_name(second, series), 24)
        ax.plot([], [], color=mark.colour, marker=mark.marker, linestyle=mark.line, label=name)
    combinations.upright(ax, points, asked)
    ax.set_xlim(-0.5, len(along) - 0.5)
    look.ticks(ax, "x", range(len(along)), labels, rotation=90 if many else 0)
    named = f"levels of {', '.join(combinations.factor_name(item) for item in brief.factors if item is not second)}\n"
    told = f"{combinations.mean_name(asked)} with {_level(means)}; parallel lines: no interaction"
    ax.set_xlabel(named + told if many else told)
    ax.legend(loc="center left", bbox_to_anchor=(1.0, 0.5), frameon=False, labelspacing=0.8)
    row = next(item for item in answers.of(frame, verdicts, brief) if item.name == comparison)
    look.title(ax, interaction_words(row, question, brief))
    return ax


def alt_interaction(
    frame: pd.DataFrame,
    means: pd.DataFrame,
    verdicts: pd.DataFrame | None,
    brief: Brief,
    *,
    comparison: str,
) -> str:
    """What ``interaction`` shows, as text made from the same numbers."""
    question = brief.comparison(comparison)
    asked = brief.response(answers.only_response(frame, brief))
    row = next(item for item in answers.of(frame, verdicts, brief) if item.name == comparison)
    said = []
    for combo in base.lines(brief):
        levels = combinations.levels_of(brief, combo)
        told = combinations.told(combinations.mean_of(means, asked.name, levels), asked)
        said.append(f"{combinations.name(brief, levels)}: {told}")
    return (
        f"{interaction_words(row, question, brief)}. {look.capital(combinations.mean_name(asked))} of "
        f"{measured_in.label(asked.name)} – {'; '.join(said)}."
    )


def _level(frame: pd.DataFrame) -> str:
    """What the bars of means are: '95 % interval'."""
    known = [level for level in frame["conf_level"].tolist() if answers.value(level) is not None]
    return f"{answers.level_text(float(known[0]))} interval" if known else "no interval"


def _extreme(frame: pd.DataFrame, brief: Brief, asked: Response, places: Sequence[dict[str, str]]) -> str:
    """The title of the picture of means: the combination with the best mean, and its value."""
    found = [(levels, combinations.mean_of(frame, asked.name, levels)) for levels in places]
    known = [(row["estimate"], levels, row) for levels, row in found if row is not None]
    label = measured_in.label(asked.name)
    if not known:
        return f"{look.capital(label)} of every run"
    smaller = asked.better == "smaller"
    _, levels, row = (min if smaller else max)(known, key=lambda item: item[0])
    return (
        f"{'Smallest' if smaller else 'Largest'} {combinations.mean_name(asked).split(' ')[0]} of {label}: "
        f"{combinations.name(brief, levels)}, {combinations.told(row, asked)}"
    )
