"""Pictures of residuals at run level: by fitted value, by order, by normal quantile (rank 8).

Residuals come from ``model.diagnostics``; on the log scale they are shown in per cent. The runs furthest out
carry their number; few points say little, and the sentences of the checks stand in the title.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

from toolkit import measured_in
from toolkit.brief.model import Brief, Response
from toolkit.plot import answers, look, rounding

# Three lines of a title; how a check ends that found nothing.
_LONGEST = 315
_NOTHING_SEEN = ("no more than chance allows", "any scale would do")
_QUIET = "nothing seen by"

_NAMED = 2
# In points: half a mark, from its middle to a number, a letter of a number, its height.
_RING, _OFF, _LETTER, _HIGH = 3.8, 6, 6.5, 9.0
# More builds than this would be named on top of each other.
_MOST_NAMED_BUILDS = 6


@look.styled
def panel(
    frame: pd.DataFrame,
    brief: Brief,
    *,
    response: str,
    sentences: Sequence[str] = (),
    envelope: pd.DataFrame | None = None,
) -> list[Any]:
    """The three pictures side by side on one figure.

    Parameters
    ----------
    frame : DataFrame
        As ``Checks.residuals`` of ``model.diagnostics`` gives it.
    brief : Brief
    response : str
    sentences : sequence of str
        What the checks say, for the title.
    envelope : DataFrame, optional
        As ``model.envelope`` gives it: the band that residuals keep to by chance.

    Returns
    -------
    list of Axes
        Against the fitted value, against the order, against normal quantiles.
    """
    made = look.grid(10.6, 4.1, 3)
    for draw, ax in zip((by_fitted, by_order), made[:2], strict=True):
        draw(frame, brief, response=response, ax=ax)
    by_quantile(frame, brief, response=response, envelope=envelope, ax=made[2])
    title = heading(sentences) or f"Residuals of {measured_in.label(response)}"
    if title.startswith(_QUIET):
        title = f"{look.capital(measured_in.label(response))}: {title}"
    made[0].figure.suptitle(look.wrapped(title, 105), x=0.01, ha="left", fontsize=look.TITLE_PT, fontweight="bold")
    return made


def heading(sentences: Sequence[str]) -> str:
    """What the checks say, short enough for a title: where it is not, those that found nothing are counted."""
    whole = "; ".join(sentences)
    if len(whole) <= _LONGEST:
        return whole
    seen = [sentence for sentence in sentences if not sentence.endswith(_NOTHING_SEEN)]
    quiet = len(sentences) - len(seen)
    told = f"{_QUIET} {quiet} {'further ' if seen else ''}check{'s' * (quiet != 1)}"
    return "; ".join([*seen, *([told] if quiet else [])])


def alt_panel(
    frame: pd.DataFrame,
    brief: Brief,
    *,
    response: str,
    sentences: Sequence[str] = (),
    envelope: pd.DataFrame | None = None,
) -> str:
    """What ``panel`` shows, as text made from the same numbers."""
    asked = brief.response(response)
    values = _values(frame, asked)
    told = "; ".join(f"{sentence}" for sentence in sentences)
    listed = ", ".join(
        f"{run} {rounding.significant(value, 2, sign=True)}" for run, value in zip(frame["run_id"], values, strict=True)
    )
    return (
        f"Residuals of {measured_in.label(response)} at run level ({_unit(asked)}) by fitted value, by order "
        f"and by normal quantile, {look.name_of_runs(len(frame))}. {told + '. ' if told else ''}{listed}."
        f"{_outside(frame, envelope)}"
    )


@look.styled
def by_fitted(frame: pd.DataFrame, brief: Brief, *, response: str, ax: Any = None) -> Any:
    """Residuals against the fitted value: a funnel or a bend would say that the scale is wrong.

    Parameters
    ----------
    frame : DataFrame
        As ``Checks.residuals`` gives it.
    brief : Brief
    response : str
    ax : Axes, optional
    """
    asked = brief.response(response)
    log = asked.scale == "log"
    fitted = [math.exp(item) if log else float(item) for item in frame["fitted"]]
    ax = _drawn(ax, fitted, _values(frame, asked), asked)
    if log:
        low, high = look.limits(fitted, log=True)
        look.log_axis(ax, low, high)
        ticks = look.value_ticks(low, high, 4)
        ax.set_xticks(ticks, [f"{tick:,.6g}" for tick in ticks])
    _name_furthest(ax, fitted, _values(frame, asked), frame)
    ax.set_xlabel(f"fitted {answers.quantity(asked)}{', log scale' if log else ''}")
    return ax


@look.styled
def by_order(frame: pd.DataFrame, brief: Brief, *, response: str, ax: Any = None) -> Any:
    """Residuals against the order of the runs, broken at each build: a slope would say that the rig drifts.

    Parameters
    ----------
    frame : DataFrame
        As ``Checks.residuals`` gives it.
    brief : Brief
    response : str
    ax : Axes, optional
    """
    from matplotlib.ticker import MaxNLocator

    asked = brief.response(response)
    ordered = frame.assign(_at=[answers.value(item) for item in frame["order"]])
    known = ordered["_at"].notna().all()
    ordered = ordered.assign(_at=ordered["_at"] if known else range(1, len(ordered) + 1)).sort_values("_at")
    values = _values(ordered, asked)
    places = [float(item) for item in ordered["_at"]]
    ax = _drawn(ax, places, values, asked)
    builds = ordered["build"].tolist()
    stretches = _stretches(builds)
    for at, (start, end) in enumerate(stretches):
        ax.plot(places[start:end], values[start:end], color=look.QUIET, linewidth=0.8, zorder=2)
        if 1 < len(stretches) <= _MOST_NAMED_BUILDS:
            if at % 2:
                ax.axvspan(places[start] - 0.5, places[end - 1] + 0.5, color=look.SHADE, linewidth=0, zorder=0)
            ax.text(
                (places[start] + places[end - 1]) / 2, 0.99, look.wrapped(str(builds[start]), 8),
                transform=ax.get_xaxis_transform(), ha="center", va="top", color=look.QUIET,
            )  # fmt: skip
    _name_furthest(ax, places, values, ordered)
    ax.xaxis.set_major_locator(MaxNLocator(integer=True, nbins=6))
    ax.set_xlabel("order of the runs, a line for each build" if known else "row of the table (order not known)")
    return ax


@look.styled
def by_quantile(
    frame: pd.DataFrame, brief: Brief, *, response: str, envelope: pd.DataFrame | None = None, ax: Any = None
) -> Any:
    """Residuals in order against normal quantiles: within the band is what a normal scatter gives.

    Parameters
    ----------
    frame : DataFrame
        As ``Checks.residuals`` gives it.
    brief : Brief
    response : str
    envelope : DataFrame, optional
        As ``model.envelope`` gives it.
    ax : Axes, optional

    Notes
    -----
    Plotting positions (i - 3/8) / (n + 1/4), Blom 1958.
    """
    from scipy.special import ndtri

    asked = brief.response(response)
    ordered = frame.assign(_value=_values(frame, asked)).sort_values("_value", kind="stable")
    count = len(ordered)
    quantiles = [float(ndtri((place - 0.375) / (count + 0.25))) for place in range(1, count + 1)]
    ax = _drawn(ax, quantiles, ordered["_value"].tolist(), asked)
    ax.set_xlabel(f"normal quantile, {look.name_of_runs(count)}")
    if envelope is not None and len(envelope):
        factor = 100.0 if asked.scale == "log" else 1.0
        low, middle, high = ([factor * item for item in envelope[name]] for name in ("low", "middle", "high"))
        ax.fill_between(quantiles, low, high, color=look.SHADE, linewidth=0, zorder=0)
        for edge in (low, high):
            ax.plot(quantiles, edge, color=look.QUIET, linewidth=0.8, linestyle="--", zorder=1)
        ax.plot(quantiles, middle, color=look.QUIET, linewidth=1.0, zorder=1)
        ax.set_xlabel(
            f"normal quantile, {look.name_of_runs(count)}\nband: {answers.level_text(brief.conf_level)} of campaigns "
            f"drawn\nwithout anything odd, place by place"
        )
    _name_furthest(ax, quantiles, ordered["_value"].tolist(), ordered)
    return ax


def _outside(frame: pd.DataFrame, envelope: pd.DataFrame | None) -> str:
    """Which runs lie outside the band, in words; empty without one."""
    if envelope is None or not len(envelope):
        return ""
    ordered = frame.sort_values("residual", kind="stable", key=lambda column: column.astype(float))
    out = [
        str(run)
        for run, value, low, high in zip(
            ordered["run_id"], ordered["residual"], envelope["low"], envelope["high"], strict=True
        )
        if not low <= float(value) <= high
    ]
    return f" Outside the band of drawn campaigns: {', '.join(out) if out else 'no run'}."


def _values(frame: pd.DataFrame, response: Response) -> list[float]:
    """The residuals as shown: in per cent on the log scale, else in the response's unit."""
    factor = 100.0 if response.scale == "log" else 1.0
    return [factor * float(item) for item in frame["residual"]]


def _unit(response: Response) -> str:
    """What the residuals shown are measured in."""
    return "%, of ln" if response.scale == "log" else response.measured_in or "as measured"


def _drawn(ax: Any, across: Sequence[float], values: Sequence[float], response: Response) -> Any:
    """Hollow marks with a zero line."""
    ax = look.axes(ax, 4.4, 3.6)
    ax.axhline(0.0, color=look.QUIET, linewidth=1, zorder=1)
    ax.plot(
        across,
        values,
        linestyle="none",
        marker="o",
        markersize=6.5,
        markerfacecolor="white",
        markeredgecolor=look.PALETTE[0],
        zorder=3,
    )
    ax.set_ylabel(f"residual ({_unit(response)})")
    ax.margins(x=0.12, y=0.12)
    return ax


def _name_furthest(ax: Any, across: Sequence[float], values: Sequence[float], frame: pd.DataFrame) -> None:
    """The numbers of the runs furthest out, each beside its mark where no other mark or number lies."""
    if not len(across):
        return
    # Limits are reckoned when they are asked for: before that marks have no place.
    ax.autoscale_view()
    dots = 72.0 / ax.figure.dpi * ax.transData.transform(list(zip(across, values, strict=True)))
    left, bottom, right, top = (72.0 / ax.figure.dpi * edge for edge in ax.get_window_extent().extents)
    taken = [(x - _RING, y - _RING, x + _RING, y + _RING) for x, y in dots.tolist()]
    middle = (min(across) + max(across)) / 2
    for at in sorted(range(len(values)), key=lambda at: -abs(values[at]))[:_NAMED]:
        name = str(frame["run_id"].iloc[at])
        wide, high = _LETTER * len(name), _HIGH
        x, y = dots[at].tolist()
        inwards = 1 if across[at] <= middle else -1
        # Towards the middle there is room; else outwards, above, below, and towards the middle where all is taken.
        ways = [(inwards, 0), (-inwards, 0), (0, 1), (0, -1)]
        boxes = [(x + _OFF * h + wide * (h - 1) / 2, y + _OFF * v + high * (v - 1) / 2) for h, v in ways]
        free = [
            all(
                low_x + wide <= other[0] or other[2] <= low_x or low_y + high <= other[1] or other[3] <= low_y
                for other in (*taken[:at], *taken[at + 1 :])
            )
            and left <= low_x <= right - wide
            and bottom <= low_y <= top - high
            for low_x, low_y in boxes
        ]
        best = free.index(True) if True in free else 0
        h, v = ways[best]
        taken.append((boxes[best][0], boxes[best][1], boxes[best][0] + wide, boxes[best][1] + high))
        ax.annotate(
            name,
            (across[at], values[at]),
            xytext=(_OFF * h, _OFF * v),
            textcoords="offset points",
            ha={1: "left", -1: "right", 0: "center"}[h],
            va={1: "bottom", -1: "top", 0: "center"}[v],
        )


def _stretches(builds: Sequence[str]) -> list[tuple[int, int]]:
    """First place and place after the last of each unbroken stretch of one build."""
    starts = [at for at in range(len(builds)) if at == 0 or builds[at] != builds[at - 1]]
    return list(zip(starts, [*starts[1:], len(builds)], strict=True))
