"""Picture of the strata: which units lie within which, and what is judged against the scatter of each (rank 8)."""

from __future__ import annotations

from typing import Any

from toolkit.design import terms as model_terms
from toolkit.design.strata import Strata, Stratum
from toolkit.plot import look
from toolkit.wording import counted

_MOST_TERMS = 6
_WIDTH = 8.6
_STEP = 0.05
_LEFT = 0.30


@look.styled
def strata_tree(laid: Strata, *, ax: Any = None) -> Any:
    """The units from the coarsest down, each within the one above, beside what its scatter judges.

    Parameters
    ----------
    laid : Strata
    ax : Axes, optional

    Returns
    -------
    Axes
        A box a stratum from the top; sub-samples are dashed, since they judge nothing.
    """
    from matplotlib.patches import FancyBboxPatch

    lines = [look.wrapped(_judges(item), 78) for item in laid.strata]
    heights = [0.16 + 0.17 * max(2, text.count("\n") + 1) for text in lines]
    made = look.axes(ax, _WIDTH, 0.9 + sum(heights) + 0.12 * len(lines))
    made.set_axis_off()
    made.set_xlim(0.0, 1.0)
    made.set_ylim(-sum(heights) - 0.12 * len(lines), 0.0)
    top = 0.0
    for depth, (item, text, height) in enumerate(zip(laid.strata, lines, heights, strict=True)):
        judging = item.error_df is not None
        left = _STEP * depth
        made.add_artist(
            FancyBboxPatch(
                (left, top - height), _LEFT - left, height, boxstyle="square,pad=0",
                facecolor=look.SHADE if judging else "white", edgecolor=look.INK if judging else look.QUIET,
                linestyle="-" if judging else "--",
            )
        )  # fmt: skip
        if depth:
            made.plot([left - _STEP / 2] * 2, [top + 0.12, top - height / 2], color=look.QUIET, linewidth=1.0)
            made.plot([left - _STEP / 2, left], [top - height / 2] * 2, color=look.QUIET, linewidth=1.0)
        words = (0.5 * (left + _LEFT), top - height / 2)
        made.text(*words, _units(item), ha="center", va="center", fontweight="bold" if judging else "normal")
        made.text(_LEFT + 0.02, top - height / 2, text, ha="left", va="center")
        top -= height + 0.12
    look.title(made, _finding(laid))
    return made


def alt_strata_tree(laid: Strata) -> str:
    """What ``strata_tree`` shows, as text made from the same numbers."""
    return f"{_finding(laid)}. " + " ".join(f"{_units(item)}: {_judges(item)}." for item in laid.strata)


def _units(item: Stratum) -> str:
    """How many units of a kind there are."""
    return counted(item.units, item.name)


def _judges(item: Stratum) -> str:
    """What the scatter between the units of a stratum judges."""
    if item.error_df is None:
        sharpens = item.name in ("station", "reading")
        return f"{item.role}: sharpens a run value, never a replicate" if sharpens else item.role
    names = [model_terms.name_of(term) for term in item.terms]
    more = f" and {len(names) - _MOST_TERMS} more" if len(names) > _MOST_TERMS else ""
    told = f"judge {', '.join(names[:_MOST_TERMS])}{more}" if names else item.role
    return f"{told}; {counted(item.error_df, 'degree')} of freedom for error"


def _finding(laid: Strata) -> str:
    """Where terms are judged, the fewest degrees of freedom first."""
    judging = [item for item in laid.strata if item.terms and item.error_df is not None]
    if not judging:
        return "No term is judged: nothing tells the scatter"
    few = min(judging, key=lambda item: item.error_df)
    where = "every term is judged" if len(judging) == 1 else f"fewest where {few.name}s judge"
    return look.capital(f"{where}: {counted(few.error_df, 'degree')} of freedom for error between {few.name}s")
