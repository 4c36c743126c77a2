"""Picture of one station before and after: both traces brought together, and the worn area between them (rank 8)."""

from __future__ import annotations

from typing import Any

import numpy as np

from toolkit import measured_in
from toolkit.intake.trace_pairs import Pair
from toolkit.intake.trace_wear import unit_of
from toolkit.plot import look, rounding


@look.styled
def trace_wear(pair: Pair) -> list[Any]:
    """Both traces of a station over position, the zones that do not wear shaded, and the wear beside them.

    Parameters
    ----------
    pair : Pair
        With its traces brought together.

    Returns
    -------
    list of Axes
        Heights on the left; what lies between them on the right, the worn area filled.
    """
    made = pair.aligned
    # Without wear there is nothing to draw but the words.
    left, right = look.grid(9.2, 3.9 if made is not None else 0.9, 2)
    if made is None:
        for ax in (left, right):
            ax.set_axis_off()
        look.whole_title(left.figure, _finding(pair))
        return [left, right]
    at, after = made.position, pair.after.height
    before = after + made.wear
    for ax in (left, right):
        for low, high in pair.rule.reference:
            ax.axvspan(low, high, color=look.SHADE, zorder=0)
        ax.set_xlabel(f"position ({pair.rule.position_in}); shaded: does not wear")
        ax.set_xlim(float(at[0]), float(at[-1]))
    left.plot(at, before, color=look.PALETTE[0], label="before, as brought together")
    left.plot(at, after, color=look.PALETTE[1], linestyle="--", label="after")
    left.fill_between(at, before, after, where=_worn(pair), color=look.BAND, linewidth=0)
    left.set_ylabel("height (µm)")
    # Below both: anywhere inside it would lie on one curve or another.
    left.figure.legend(*left.get_legend_handles_labels(), loc="outside lower left", ncols=2, frameon=False)
    right.axhline(0.0, color=look.QUIET, linewidth=0.8)
    right.fill_between(at, 0.0, np.nan_to_num(made.wear), where=_worn(pair), color=look.BAND, linewidth=0)
    right.plot(at, made.wear, color=look.INK, linewidth=1.0)
    for place in pair.rule.positions:
        right.axvline(place, color=look.QUIET, linestyle=":", linewidth=0.8)
    right.set_ylabel("wear (µm)")
    look.whole_title(left.figure, _finding(pair))
    scatter = f"Scatter of a reading: {rounding.significant(made.scatter, 2)} µm"
    right.set_title(scatter, fontsize=look.SMALLEST_PT, fontweight="normal")
    return [left, right]


def alt_trace_wear(pair: Pair) -> str:
    """What ``trace_wear`` shows, as text made from the same numbers."""
    made = pair.aligned
    if made is None:
        return f"{_finding(pair)}."
    moved = (f"shift {rounding.significant(made.shift, 2)} {pair.rule.position_in}, "
             f"offset {rounding.significant(made.offset, 3)} µm")  # fmt: skip
    return (
        f"{_finding(pair)}. The trace before was moved ({moved}) to fit that after on the zones that do not wear; "
        f"a reading scatters by {rounding.significant(made.scatter, 2)} µm."
    )


def _worn(pair: Pair) -> Any:
    """Where the worn zone is; everywhere between the zones that do not wear for a scheme of positions."""
    at = pair.aligned.position if pair.aligned is not None else np.empty(0)
    if pair.rule.worn is not None:
        return (at >= pair.rule.worn[0]) & (at <= pair.rule.worn[1])
    inside = np.ones(len(at), dtype=bool)
    for low, high in pair.rule.reference:
        inside &= ~((at >= low) & (at <= high))
    return inside


def _finding(pair: Pair) -> str:
    """The wear of the station with its uncertainty."""
    which = f"{pair.run_id}, {pair.after.station_id}"
    if pair.taken is None:
        return f"{which}: no wear ({pair.note})"
    scale = unit_of(pair.rule)
    value = rounding.significant(pair.taken.value * scale, 3)
    error = rounding.significant(pair.taken.std_error * scale, 2)
    unit = measured_in.shown(pair.rule.response)
    return f"{which}: {pair.rule.take} wear {value} {unit}, known to {error} {unit} (1 SD)"
