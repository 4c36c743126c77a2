"""Picture of a forecast: how likely each of the six verdicts is, before the runs are made (rank 8)."""

from __future__ import annotations

from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief
from toolkit.decide.verdict import NAMES
from toolkit.plot import answers, look, sizing

# Each verdict by fill and hatch, so that the bars can be told apart in grey too.
_FILL = {
    "worthwhile gain": ("#0072B2", "", "white"),
    "gain, size not settled": ("#9CC9E3", "//", look.INK),
    "smaller than worthwhile": ("#FFFFFF", "", look.INK),
    "not known yet": ("#DDDDDD", "..", look.INK),
    "loss, size not settled": ("#F2C3A0", "\\\\", look.INK),
    "worthwhile loss": ("#D55E00", "xx", look.INK),
}

# Longer than this the title counts.
_LONGEST = 150


@look.styled
def outcomes(table: pd.DataFrame, brief: Brief, *, response: str, name: str, ax: Any = None) -> Any:
    """The forecast of one plan: how likely each of the six verdicts is for each comparison, as stacked bars.

    Parameters
    ----------
    table : DataFrame
        As ``Options.table`` gives it.
    brief : Brief
    response : str
    name : str
        The plan.
    ax : Axes, optional

    Returns
    -------
    Axes
        One bar a comparison; shares of 6 % and more carry their number.
    """
    rows = _forecast(table, response, name)
    labels = [
        look.wrapped(row["comparison"], 28)
        + "\n"
        + look.wrapped(f"(true change {sizing.assumed(row, brief, response)})", 28)
        for row in rows
    ]
    ax = look.axes(ax, 8.6, 1.7 + sum(0.24 + 0.17 * max(label.count("\n") + 1, 2) for label in labels))
    for at, row in enumerate(rows):
        start = 0.0
        for verdict in NAMES:
            share = 100 * (answers.value(row.get(verdict)) or 0.0)
            fill, hatch, ink = _FILL[verdict]
            ax.barh(
                [at],
                [share],
                left=start,
                height=0.62,
                color=fill,
                hatch=hatch,
                edgecolor=look.INK,
                linewidth=0.7,
                label=verdict if at == 0 else None,
            )
            if share >= 6:
                box = {"boxstyle": "square,pad=0.15", "facecolor": fill, "edgecolor": "none"}
                ax.text(start + share / 2, at, f"{share:.0f}", ha="center", va="center", color=ink, bbox=box)
            start += share
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.set_xlim(0, 100)
    look.ticks(ax, "y", range(len(rows)), labels)
    ax.tick_params(axis="y", length=0)
    ax.set_xlabel("chance of each verdict (%), averaged over the doubt in the scatter")
    ax.figure.legend(*ax.get_legend_handles_labels(), loc="outside lower center", ncols=3, frameon=False)
    runs = int(rows[0]["runs"]) if rows else 0
    look.title(ax, _finding(rows, f"{measured_in.label(response)}, {runs} runs ({name})"))
    return ax


def _finding(rows: list[dict[str, Any]], about: str) -> str:
    """The title: the likeliest verdict of each comparison, or how often each is the likeliest."""
    likeliest = {}
    for row in rows:
        shares = {verdict: answers.value(row.get(verdict)) for verdict in NAMES}
        known = {verdict: share for verdict, share in shares.items() if share is not None}
        if known:
            likeliest[row["comparison"]] = max(known, key=lambda verdict: known[verdict])
    if not likeliest:
        return f"{look.capital(about)}: no forecast"
    said = "; ".join(f"{name} – {verdict}" for name, verdict in likeliest.items())
    if len(set(likeliest.values())) == 1 < len(likeliest):
        said = f"{next(iter(likeliest.values()))} for every comparison"
    elif len(said) > _LONGEST:
        counts = {verdict: list(likeliest.values()).count(verdict) for verdict in NAMES}
        said = "; ".join(f"{verdict} for {count}" for verdict, count in counts.items() if count)
        said = f"{said} of {len(likeliest)} comparisons"
    return f"{look.capital(about)}, most likely: {said}"


def alt_outcomes(table: pd.DataFrame, brief: Brief, *, response: str, name: str) -> str:
    """What ``outcomes`` shows, as text made from the same numbers."""
    said = []
    for row in _forecast(table, response, name):
        shares = ", ".join(
            f"{verdict} {100 * row[verdict]:.0f} %" for verdict in NAMES if answers.value(row.get(verdict)) is not None
        )
        change = sizing.assumed(row, brief, response)
        said.append(f"{row['comparison']} (true change {change}): {shares or row['note']}.")
    return f"Forecast of the verdicts on {measured_in.label(response)} with the plan '{name}'. {' '.join(said)}"


def _forecast(table: pd.DataFrame, response: str, name: str) -> list[dict[str, Any]]:
    """The comparisons of one plan with their shares."""
    chosen = table[(table["response"] == response) & (table["name"] == name)]
    return [row for row in chosen.to_dict("records") if isinstance(row["comparison"], str)]
