"""Picture of metal in the oil over metal lost by the measured parts, run by run (rank 8)."""

from __future__ import annotations

from typing import Any

from toolkit import measured_in
from toolkit.decide.mass_balance import MassBalance
from toolkit.plot import look, rounding

# More runs than this have their names upended.
_UPRIGHT = 10


@look.styled
def mass_balance(found: MassBalance, element: str, *, ax: Any = None) -> Any:
    """The recovery of one metal in every run, with both bounds, on the band that is taken for sound.

    Parameters
    ----------
    found : MassBalance
    element : str
        Such as fe_ppm.
    ax : Axes, optional
    """
    rows = _rows(found, element)
    ax = look.axes(ax, 6.4, 3.4)
    low, high = found.band
    known = [value for row in rows for value in (row["recovery_low"], row["recovery_high"]) if value > 0.0]
    look.log_axis(ax, *look.limits([low, high, *known], log=True), along="y")
    ax.axhspan(low, high, color=look.BAND, zorder=0)
    for at, row in enumerate(rows, start=1):
        out = row["inside"] is False
        colour, mark = (look.PALETTE[1], look.MARKERS[1]) if out else (look.PALETTE[0], look.MARKERS[0])
        ends = [row["recovery_low"], row["recovery_high"]]
        ax.plot([at, at], ends, color=colour, linewidth=2.0)
        ax.plot([at], [sum(ends) / 2.0], color=colour, marker=mark, markersize=6)
    look.ticks(ax, "x", list(range(1, len(rows) + 1)), [row["run_id"] for row in rows],
               rotation=90 if len(rows) > _UPRIGHT else 0)  # fmt: skip
    edges = look.value_ticks(*ax.get_ylim())
    look.ticks(ax, "y", edges, [f"{edge:g}" for edge in edges])
    ax.set_ylabel(f"{_metal(element)}: oil over parts")
    ax.set_xlabel("runs; grey: taken for sound; lines: from metal left behind\nto metal taken along by consumed oil")
    look.title(ax, _finding(found, element))
    return ax


def alt_mass_balance(found: MassBalance, element: str) -> str:
    """What ``mass_balance`` shows, as text made from the same numbers."""
    rows = [(row["run_id"], *(rounding.significant(row[f"recovery_{end}"], 2) for end in ("low", "high")))
            for row in _rows(found, element)]  # fmt: skip
    told = "; ".join(f"{run} {low} to {high}" for run, low, high in rows)
    return f"{_finding(found, element)}. By run: {told}."


def _rows(found: MassBalance, element: str) -> list[dict[str, Any]]:
    """The runs whose recovery could be told."""
    rows = found.table[(found.table["element"] == element) & found.table["recovery_low"].notna()]
    return rows.to_dict("records")


def _finding(found: MassBalance, element: str) -> str:
    """How many runs lie outside, and which."""
    rows = _rows(found, element)
    out = [str(row["run_id"]) for row in rows if row["inside"] is False]
    low, high = found.band
    told = f"outside {low:g} to {high:g}: {', '.join(out)}" if out else f"every run lies within {low:g} to {high:g}"
    return f"{_metal(element)} in the oil over {_metal(element)} lost by the parts: {told}"


def _metal(element: str) -> str:
    """An element as people write it."""
    return measured_in.label(element).capitalize()
