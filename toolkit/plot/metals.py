"""Picture of a metal in the oil of every run against hours: as sampled, and with all corrections (rank 8)."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from toolkit import measured_in
from toolkit.intake.oil_corrections import RunAccount
from toolkit.plot import look, rounding

MOST = 24
_COLUMNS = 4


@look.styled
def metals(found: Mapping[str, RunAccount], element: str) -> Any:
    """Small pictures side by side, one a run: the plain increase dashed, the account as a band between its bounds.

    Parameters
    ----------
    found : mapping of str to RunAccount
        Run to its account; those without a balance are left out, the first 24 are drawn.
    element : str
        Such as fe_ppm.

    Returns
    -------
    Figure
    """
    shown = _shown(found)
    rows = max(1, math.ceil(len(shown) / _COLUMNS))
    figure = look.figure(9.2, 0.9 + 1.6 * rows)
    grid = figure.subplots(rows, _COLUMNS, squeeze=False, sharex=True)
    for at, ax in enumerate(grid.flat):
        if at >= len(shown):
            ax.set_axis_off()
            continue
        run, made = shown[at]
        ax.fill_between(made.at_h, made.low_mg, made.high_mg, color=look.BAND, linewidth=0)
        for edge in (made.low_mg, made.high_mg):
            ax.plot(made.at_h, edge, color=look.PALETTE[0], linewidth=1.2)
        ax.plot(
            made.at_h, made.plain_mg, color=look.PALETTE[1], linestyle="--", marker="s", markersize=3, linewidth=1.0
        )
        ax.set_title(run, loc="left", fontsize=look.SMALLEST_PT, parse_math=False)
    figure.supylabel(f"{_metal(element)} given into the oil (mg)", fontsize=look.SMALLEST_PT)
    figure.supxlabel("hours; band: account, from metal left behind to metal taken along by consumed oil; "
                     "dashed: plain increase times the fill", fontsize=look.SMALLEST_PT)  # fmt: skip
    figure.suptitle(look.wrapped(_finding(shown, element), 92), x=0.01, ha="left", fontsize=look.TITLE_PT,
                    fontweight="bold")  # fmt: skip
    return figure


def alt_metals(found: Mapping[str, RunAccount], element: str) -> str:
    """What ``metals`` shows, as text made from the same numbers."""
    shown = _shown(found)
    ends = [(run, *(rounding.significant(float(part[-1]), 3) for part in (made.low_mg, made.high_mg, made.plain_mg)))
            for run, made in shown]  # fmt: skip
    told = "; ".join(f"{run} {low} to {high} mg (plain {plain})" for run, low, high, plain in ends)
    return f"{_finding(shown, element)}. By run at its end: {told}."


def _shown(found: Mapping[str, RunAccount]) -> list[tuple[str, Any]]:
    """The runs with a balance."""
    return [(run, item.balance) for run, item in found.items() if item.balance is not None][:MOST]


def _finding(shown: list[tuple[str, Any]], element: str) -> str:
    """How far plain increase and account lie apart at most."""
    metal = _metal(element)
    if not shown:
        return f"{metal} in the oil: no run has an account"
    run, made = max(shown, key=lambda pair: abs(_middle(pair[1]) / pair[1].plain_mg[-1] - 1.0))
    change = 100.0 * (_middle(made) / made.plain_mg[-1] - 1.0)
    if abs(change) < 0.05:
        return f"{metal} in the oil of {len(shown)} runs: the account comes to the plain increase in every run"
    more = f"{abs(change):.2g} % {'more' if change > 0 else 'less'} than the plain increase"
    return f"{metal} in the oil of {len(shown)} runs: the account comes to at most {more} ({run})"


def _middle(made: Any) -> float:
    """Half-way between both bounds at the end."""
    return 0.5 * float(made.low_mg[-1] + made.high_mg[-1])


def _metal(element: str) -> str:
    """An element as people write it."""
    return measured_in.label(element).capitalize()
