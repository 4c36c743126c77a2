"""Pictures of a plan before it is run: the variance of prediction, and which terms go along with which (rank 8).

They take the tables of ``design.properties`` and compute nothing.
"""

from __future__ import annotations

from typing import Any

import pandas as pd

from toolkit.plot import look, rounding

# More terms than this make a picture that nobody can read; the table and the sentences tell it.
MOST_TERMS = 22
_WHOLE = 1.0 - 1e-9
_NIL = 1e-9


@look.styled
def prediction(table: pd.DataFrame, space: str, *, ax: Any = None) -> Any:
    """In which share of the space of the factors the variance of prediction stays below what.

    Parameters
    ----------
    table : DataFrame
        share, variance.
    space : str
        What the share is of, in words.
    ax : Axes, optional

    Returns
    -------
    Axes
        One line; half of the space and all of it marked.
    """
    ax = look.axes(ax, 7.6, 3.6)
    share, variance = table["share"].to_numpy(dtype=float), table["variance"].to_numpy(dtype=float)
    ax.plot(100.0 * share, variance, color=look.PALETTE[0])
    middle, last = float(variance[len(variance) // 2]), float(variance[-1])
    ax.plot([50.0, 100.0], [middle, last], color=look.PALETTE[0], marker="o", linestyle="none", clip_on=False)
    level = last - float(variance[0]) <= 0.02 * last
    ax.annotate(f"{middle:.2f}", (50.0, middle), xytext=(0, 7), textcoords="offset points", ha="center", va="bottom")
    if not level:
        ax.annotate(f"{last:.2f}", (100.0, last), xytext=(-7, 2), textcoords="offset points", ha="right", va="bottom")
    ax.axhline(1.0, color=look.QUIET, linestyle="--", linewidth=1.2)
    ax.annotate("as a single run", (0.0, 1.0), xytext=(2, 3), textcoords="offset points", va="bottom", color=look.QUIET)
    ax.set_xlim(0.0, 100.0)
    ax.set_ylim(0.0, 1.15 * max(last, 1.0))
    ax.set_xlabel(f"share of the space of the factors (%), {space}")
    ax.set_ylabel("variance of a prediction\n(1: variance of a run)")
    look.title(ax, _finding(middle, last))
    return ax


def alt_prediction(table: pd.DataFrame, space: str) -> str:
    """What ``prediction`` shows, as text."""
    variance = table["variance"].to_numpy(dtype=float)
    told = ", ".join(f"{variance[at]:.2f} or less in {at} %" for at in (10, 50, 90, 100))
    return f"Variance of a prediction in units of the variance of a run, {space}: {told} of the space."


def _finding(middle: float, last: float) -> str:
    """The title."""
    than = "better" if last < 1.0 else "no better"
    if last - middle <= 0.02 * last:
        return f"Everywhere a prediction is as sure as the mean of {1.0 / last:.1f} runs"
    return (
        f"In half of the space a prediction is as sure as the mean of {1.0 / middle:.1f} runs or surer; at worst it is "
        f"{than} than a single run ({last:.2f} of its variance)"
    )


@look.styled
def correlations(table: pd.DataFrame, *, ax: Any = None) -> Any:
    """Which terms go along with which, as a triangle with numbers.

    Parameters
    ----------
    table : DataFrame
        term, other, correlation, of at most ``MOST_TERMS`` terms.
    ax : Axes, optional

    Returns
    -------
    Axes
        A field a pair, darker the more they go along; what cannot be told apart has a frame.
    """
    from matplotlib.patches import Rectangle

    names = terms(table)
    size = min(max(2.2 + 0.42 * len(names), 4.2), 10.5)
    ax = look.axes(ax, size + 1.2, size)
    held = {(row["term"], row["other"]): float(row["correlation"]) for row in table.to_dict("records")}
    for down, other in enumerate(names[1:], start=1):
        for across, term in enumerate(names[:down]):
            value = held.get((term, other), 0.0)
            shade = 1.0 - 0.62 * abs(value)
            ax.add_artist(Rectangle((across, down - 1), 1, 1, facecolor=(shade, shade, 1.0), edgecolor="white"))
            if abs(value) > _WHOLE:
                ax.add_artist(
                    Rectangle((across + 0.05, down - 0.95), 0.9, 0.9, fill=False, edgecolor=look.INK, linewidth=1.6)
                )
            text = "0" if abs(value) <= _NIL else rounding.fixed(value, 2)
            colour = "white" if abs(value) > 0.75 else look.QUIET if text == "0" else look.INK
            ax.text(across + 0.5, down - 0.5, text, ha="center", va="center", color=colour)
    ax.set_xlim(0, len(names) - 1)
    ax.set_ylim(len(names) - 1, 0)
    look.ticks(ax, "x", [at + 0.5 for at in range(len(names) - 1)], names[:-1], rotation=90)
    look.ticks(ax, "y", [at + 0.5 for at in range(len(names) - 1)], names[1:])
    ax.tick_params(length=0)
    for side in ("left", "bottom"):
        ax.spines[side].set_visible(False)
    look.title(ax, triangle_title(table))
    return ax


def alt_correlations(table: pd.DataFrame) -> str:
    """What ``correlations`` shows, as text."""
    told = [
        f"{row['other']} with {row['term']} {rounding.fixed(row['correlation'], 2, sign=True)}"
        for row in table.to_dict("records")
        if abs(row["correlation"]) > _NIL
    ]
    rest = len(table) - len(told)
    some = f"{'; '.join(told[:40])}{f'; and {len(told) - 40} more' if len(told) > 40 else ''}. " if told else ""
    return f"Correlations of {len(terms(table))} terms of the design. {some}{rest} pairs have none."


def terms(table: pd.DataFrame) -> list[str]:
    """The terms in their order."""
    return list(dict.fromkeys([*table["term"], *table["other"]]))


def triangle_title(table: pd.DataFrame) -> str:
    """How many pairs cannot be told apart, and how many go along in part."""
    size = table["correlation"].abs()
    whole, part = int((size > _WHOLE).sum()), int(((size > _NIL) & (size <= _WHOLE)).sum())
    if not whole and not part:
        return "Every term stands apart from every other"
    told = [f"{whole} of {len(table)} pairs of terms cannot be told apart"] if whole else []
    among = "" if whole else f" of {len(table)} pairs"
    told += [f"{part}{among} go along in part"] if part else []
    return ", ".join(told)
