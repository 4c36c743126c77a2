"""Picture of a metal in the oil of one run: what samples show, and what it comes to with all corrections (rank 8)."""

from __future__ import annotations

from typing import Any

from toolkit import measured_in
from toolkit.intake.oil_corrections import RunAccount
from toolkit.plot import look, rounding


@look.styled
def oil_account(found: RunAccount, run_id: str, element: str, *, ax: Any = None) -> Any:
    """Metal given into the oil against hours: the plain increase, and the account with both bounds.

    Parameters
    ----------
    found : RunAccount
        With a balance.
    run_id, element : str
    ax : Axes, optional

    Returns
    -------
    Axes
        A band from the account if consumed oil leaves its metal behind to that if it takes it along.
    """
    made = found.balance
    ax = look.axes(ax, 6.4, 3.8)
    if made is None:
        ax.set_axis_off()
        look.title(ax, f"{run_id}: no account of {_metal(element)} ({found.note})")
        return ax
    ax.fill_between(made.at_h, made.low_mg, made.high_mg, color=look.BAND, linewidth=0)
    for edge in (made.low_mg, made.high_mg):
        ax.plot(made.at_h, edge, color=look.PALETTE[0], linewidth=1.4)
    ax.plot(made.at_h, made.plain_mg, color=look.PALETTE[1], linestyle="--", marker="s", markersize=5, linewidth=1.2)
    ax.set_xlim(0.0, float(made.at_h[-1]) * 1.03)
    ax.set_ylabel(f"{_metal(element)} given into the oil (mg)")
    ax.set_xlabel("hours; band: account, from metal left behind to metal taken along by consumed oil;\n"
                  "dashed: plain increase times the fill")  # fmt: skip
    look.title(ax, _finding(found, run_id, element))
    return ax


def alt_oil_account(found: RunAccount, run_id: str, element: str) -> str:
    """What ``oil_account`` shows, as text made from the same numbers."""
    made = found.balance
    if made is None:
        return f"{run_id}: no account of {_metal(element)} ({found.note})."
    points = "; ".join(
        f"{rounding.significant(hour)} h {_amount(low)} to {_amount(high)} mg (plain {_amount(plain)})"
        for hour, low, high, plain in zip(made.at_h, made.low_mg, made.high_mg, made.plain_mg, strict=True)
    )
    return f"{_finding(found, run_id, element)}. By hours: {points}."


def _finding(found: RunAccount, run_id: str, element: str) -> str:
    """What the account comes to, beside the plain increase."""
    made = found.balance
    if made is None:
        return ""
    low, high, plain = (_amount(part[-1]) for part in (made.low_mg, made.high_mg, made.plain_mg))
    amount = low if low == high else f"{low} to {high}"
    return (
        f"{run_id}: {amount} mg {_metal(element)} in {rounding.significant(made.at_h[-1])} h; "
        f"plain increase: {plain} mg"
    )


def _metal(element: str) -> str:
    """An element as people write it."""
    return measured_in.label(element).capitalize()


def _amount(value: float) -> str:
    """An amount of metal for text."""
    return rounding.significant(float(value), 3)
