"""Picture of a gauge over time: what its master reads off its value, session by session (rank 8)."""

from __future__ import annotations

from typing import Any

import numpy as np

from toolkit import measured_in
from toolkit.intake.masters import MasterDrift
from toolkit.plot import look, rounding


@look.styled
def master_drift(found: MasterDrift, *, ax: Any = None) -> Any:
    """What the master reads off in each session, with the line through all of them.

    Parameters
    ----------
    found : MasterDrift
    ax : Axes, optional
    """
    ax = look.axes(ax, 6.4, 3.6)
    made, at = found.drift, range(1, len(found.sessions) + 1)
    ax.axhline(0.0, color=look.QUIET, linewidth=0.8)
    bars = 2.0 * np.nan_to_num(made.off_sd)
    ax.errorbar(at, made.off, bars, color=look.PALETTE[0], linestyle="", marker="o", markersize=5, capsize=2)
    if made.slope is not None:
        ax.plot(at, made.line, color=look.PALETTE[1], linestyle="--")
    look.ticks(ax, "x", list(at), list(found.sessions), rotation=90 if len(found.sessions) > 6 else 0)
    ax.set_ylabel(f"read off ({measured_in.shown(found.master.response) or 'as read'})")
    ax.set_xlabel("sessions in order; bars: twice the standard uncertainty; dashed: the line through all")
    look.title(ax, _told(found))
    return ax


def alt_master_drift(found: MasterDrift) -> str:
    """What ``master_drift`` shows, as text made from the same numbers."""
    points = "; ".join(
        f"{session} ({day}) {rounding.significant(float(off), 2)}"
        for session, day, off in zip(found.sessions, found.days, found.drift.off, strict=True)
    )
    return f"{_told(found)}. Read off by session: {points}."


def _told(found: MasterDrift) -> str:
    """What the master shows, its numbers with a minus as every picture has it."""
    return rounding.minus(found.sentence)
