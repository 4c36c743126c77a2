"""Half-normal picture of effects without repeats: sizes in order, the band of inert effects, the margins (rank 8).

Effects and margins come from ``model.unreplicated``; one panel a stratum that could be judged. What stands out is
named on the picture; ``alt_half_normal`` tells the same numbers as text.
"""

from __future__ import annotations

from typing import Any

from toolkit import measured_in
from toolkit.brief.model import Brief, Response
from toolkit.model.unreplicated import NEITHER, Unreplicated
from toolkit.plot import answers, look, rounding

# So many of the largest effects are named even where none stands out.
_NAMED = 3


@look.styled
def half_normal(found: Unreplicated, brief: Brief, *, response: str) -> list[Any]:
    """The sizes of the effects against half-normal places, a panel a stratum.

    Parameters
    ----------
    found : Unreplicated
        With one stratum at least that was judged.
    brief : Brief
    response : str

    Returns
    -------
    list of Axes
    """
    strata = found.judged_by.to_dict("records")
    made = look.grid(6.4 if len(strata) == 1 else 10.6, 4.4, len(strata))
    asked = brief.response(response)
    for line, ax in zip(strata, made, strict=True):
        _panel(ax, _rows(found, line["stratum"]), line, asked, alone=len(strata) == 1)
    title = _finding(found, asked)
    made[0].figure.suptitle(
        look.wrapped(title, 62 if len(strata) == 1 else 105), x=0.01, ha="left", fontsize=look.TITLE_PT,
        fontweight="bold",
    )  # fmt: skip
    return made


def alt_half_normal(found: Unreplicated, brief: Brief, *, response: str) -> str:
    """What ``half_normal`` shows, as text made from the same numbers."""
    asked = brief.response(response)
    told = []
    for line in found.judged_by.to_dict("records"):
        rows = _rows(found, line["stratum"])
        listed = ", ".join(
            f"{row['term']} {rounding.significant(_factor(asked) * row['size'])}" for row in reversed(rows)
        )
        margins = [
            rounding.significant(_factor(asked) * line[name]) for name in ("margin", "simultaneous_margin")
        ]
        told.append(
            f"Between {line['stratum']}s, the largest first ({_unit(asked)}): {listed}; margin of one effect "
            f"{margins[0]}, of all effects {margins[1]}."
        )
    return f"Half-normal picture. {_finding(found, asked)}. {' '.join(told)}"


def _panel(ax: Any, rows: list[dict[str, Any]], line: dict[str, Any], response: Response, *, alone: bool) -> None:
    """One stratum."""
    ax = look.axes(ax, 6.4, 4.4)
    factor = _factor(response)
    places = [row["place"] for row in rows]
    low, middle, high = ([factor * row[f"envelope_{name}"] for row in rows] for name in ("low", "middle", "high"))
    ax.fill_between(places, low, high, color=look.SHADE, linewidth=0, zorder=0)
    ax.plot(places, middle, color=look.QUIET, linewidth=1.0, zorder=1)
    for name, words, style in (
        ("margin", "margin of one effect", ":"),
        ("simultaneous_margin", "margin of all effects", "--"),
    ):
        edge = factor * line[name]
        ax.axhline(edge, color=look.INK, linewidth=1.0, linestyle=style, zorder=2)
        ax.annotate(words, (0.01, edge), xycoords=("axes fraction", "data"), xytext=(0, 3),
                    textcoords="offset points", ha="left", va="bottom")  # fmt: skip
    out = [row["stands_out"] != NEITHER for row in rows]
    sizes = [factor * row["size"] for row in rows]
    for beyond in (False, True):
        chosen = [at for at, mark in enumerate(out) if mark is beyond]
        ax.plot(
            [places[at] for at in chosen],
            [sizes[at] for at in chosen],
            linestyle="none",
            marker="o",
            markersize=7,
            markerfacecolor=look.PALETTE[1] if beyond else "white",
            markeredgecolor=look.PALETTE[1] if beyond else look.PALETTE[0],
            zorder=3,
        )
    for at in range(len(rows)):
        if out[at] or at >= len(rows) - _NAMED:
            ax.annotate(
                look.wrapped(_named(rows[at]), 26), (places[at], sizes[at]), xytext=(-8, 0) if out[at] else (4, 8),
                textcoords="offset points", ha="right", va="center" if out[at] else "bottom",
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.8},
            )  # fmt: skip
    ax.set_xlim(0.0, max(places) * 1.06)
    ax.set_ylim(0.0, 1.12 * max(*sizes, factor * line["simultaneous_margin"]))
    ax.set_ylabel(f"size of the effect ({_unit(response)})")
    where = "" if alone else f"between {line['stratum']}s: "
    ax.set_xlabel(
        f"{where}half-normal place, n = {len(rows)} effects\nband: {answers.level_text(line['conf_level'])} of drawn "
        f"campaigns without any effect"
    )


def _rows(found: Unreplicated, stratum: str) -> list[dict[str, Any]]:
    """The judged effects of a stratum, the smallest first."""
    table = found.table
    judged = table[(table["error_stratum"] == stratum) & table["rank"].notna()]
    return sorted(judged.to_dict("records"), key=lambda row: row["rank"])


def _named(row: dict[str, Any]) -> str:
    """An effect with what it cannot be told from."""
    return f"{row['term']} = {row['aliases']}" if row["aliases"] else str(row["term"])


def _finding(found: Unreplicated, response: Response) -> str:
    """Which effects stand out, in words."""
    rows = [row for row in found.table.to_dict("records") if row["stands_out"] not in (None, NEITHER)]
    label = measured_in.label(response.name)
    if not rows:
        return f"No effect on {label} stands out from the others"
    rows.sort(key=lambda row: -row["size"])
    names = [f"{row['term']} ({row['stands_out']})" for row in rows]
    return f"Effects on {label} that stand out: {'; '.join(names)}"


def _factor(response: Response) -> float:
    """Per cent of ln on the log scale."""
    return 100.0 if response.scale == "log" else 1.0


def _unit(response: Response) -> str:
    """What sizes are measured in."""
    return "%, of ln" if response.scale == "log" else response.measured_in or "as measured"
