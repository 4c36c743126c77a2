"""Picture of what chance alone does to the answers: many campaigns with the same truth (rank 8)."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief
from toolkit.plot import answers, look

_QUANTILES = (0.05, 0.25, 0.75, 0.95)


@look.styled
def spread(by_seed: pd.DataFrame, truths: Mapping[str, float], brief: Brief, *, seed: int, ax: Any = None) -> Any:
    """Each comparison over many campaigns that differ by chance alone, with the truth and one campaign marked.

    Parameters
    ----------
    by_seed : DataFrame
        One row a campaign and comparison: seed, comparison, change_pct [%].
    truths : mapping of str to float
        The true change of each comparison [%].
    brief : Brief
        Its primary response is on the log scale.
    seed : int
        The campaign to mark.
    ax : Axes, optional

    Returns
    -------
    Axes
        One row a comparison from the top: thin line 5 to 95 % of the campaigns, thick line 25 to 75 %, diamond the
        truth, ring the marked campaign.
    """
    names = list(truths)
    ax = look.axes(ax, 8.2, 1.65 + 0.45 * len(names))
    response = next(item for item in brief.responses if item.role == "primary")
    told = {name: _told(by_seed, name, seed) for name in names}
    every = [1 + change / 100 for name in names for change in (*told[name], truths[name])]
    low, high = look.limits(every, log=True)
    look.log_axis(ax, low, high)
    ticks = look.ratio_ticks(low, high)
    ax.set_xticks(ticks, [answers.per_cent(tick, None) for tick in ticks])
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.set_yticks(range(len(names)), [look.wrapped(name, 26) for name in names])
    ax.tick_params(axis="y", length=0)
    ax.axvline(1.0, color=look.QUIET, linewidth=1, zorder=1)
    for place, name in enumerate(names):
        edge = brief_model.worthwhile(brief, next(c for c in brief.comparisons if c.name == name), response)
        if edge is not None:
            band = [math.exp(-edge), math.exp(edge)]
            ax.fill_betweenx([place - 0.5, place + 0.5], *band, color=look.BAND, linewidth=0, zorder=0)
        _row(ax, place, [1 + change / 100 for change in told[name]], 1 + truths[name] / 100)
    campaigns = by_seed["seed"].nunique()
    look.title(ax, f"The same truth, {campaigns:,} times: what chance alone does to the answers")
    ax.set_xlabel(
        f"change of {measured_in.label(response.name)}, log scale; grey: too small to matter\n"
        "lines: where 90 % (thin) and 50 % (thick) of the campaigns lie\n"
        f"diamond: the truth; ring: the campaign with seed {seed}"
    )
    return ax


def alt_spread(by_seed: pd.DataFrame, truths: Mapping[str, float], brief: Brief, *, seed: int) -> str:
    """What ``spread`` shows, as text made from the same numbers."""
    said = []
    for name, truth in truths.items():
        low, _, _, high, here = _told(by_seed, name, seed)
        said.append(
            f"{name}: 90 % of the campaigns find {_signed(low)} to {_signed(high)}, true {_signed(truth)}, "
            f"with seed {seed} {_signed(here)}."
        )
    return f"Changes found in {by_seed['seed'].nunique():,} campaigns with the same truth. {' '.join(said)}"


def _told(by_seed: pd.DataFrame, name: str, seed: int) -> tuple[float, ...]:
    """The quantiles of a comparison's changes and the marked campaign's, in per cent."""
    part = by_seed[by_seed["comparison"] == name]
    here = part.loc[part["seed"] == seed, "change_pct"]
    return (*(float(part["change_pct"].quantile(at)) for at in _QUANTILES), float(here.iloc[0]))


def _row(ax: Any, place: int, ratios: Sequence[float], truth: float) -> None:
    """Draw one comparison."""
    low, quarter, most, high, here = ratios
    drawn = {"color": look.PALETTE[0], "solid_capstyle": "butt"}
    ax.plot([low, high], [place, place], linewidth=1.4, zorder=2, **drawn)
    ax.plot([quarter, most], [place, place], linewidth=6, zorder=3, **drawn)
    ax.plot([truth], [place], marker="D", color=look.INK, markersize=7, linestyle="none", zorder=4)
    ring = {"markerfacecolor": "none", "markeredgewidth": 2.2, "linestyle": "none"}
    ax.plot([here], [place], marker="o", color=look.PALETTE[1], markersize=12, zorder=5, **ring)


def _signed(change: float) -> str:
    """A change in per cent with its sign."""
    return answers.per_cent(1.0 + change / 100.0, 0)
