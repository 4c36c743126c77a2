"""Tables of what a plan is like before it is run, as text: the page of the plan and the report print them (rank 9)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import pandas as pd

from toolkit import measured_in
from toolkit.campaign import looking
from toolkit.design.properties import Properties
from toolkit.plot import design as design_plot
from toolkit.plot import look as plot_look
from toolkit.plot import rounding

# Of correlations that are not nil the largest so many are listed where the triangle has too many terms.
MOST_PAIRS = 40
# Of more factors than this the runs are listed in coded units alone; what the levels mean stands in the plan.
MOST_IN_BOTH = 4
_ABOUT = (
    "D: how small the region of all estimates is together; A: their mean variance; G: the worst prediction; I: the "
    "mean prediction. 100 % is an orthogonal plan of as many runs for D, A and G, and runs spread evenly over the "
    "space for I; with squares, and for I, it may be more."
)


@dataclass(frozen=True)
class Told:
    """A table as text: caption, head, rows, the columns that hold numbers, and what the reader must know beside it."""

    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    numbers: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def widths(table: pd.DataFrame) -> Told:
    """Half-widths with every run, and with some lost."""
    head = ("comparison", "response", "judged between", "error df", "every run", "one run lost", "two runs lost")
    head = (*head, "dearest run to lose", "without it", "note")
    rows = []
    for row in table.to_dict("records"):
        unit = row["told_in"]
        rows.append(
            (
                row["comparison"],
                measured_in.quantity(row["response"]) if row["response"] else "–",
                " and ".join(f"{name}s" for name in (row["error_stratum"] or "").split(" and ") if name) or "–",
                _df(row["error_df"]),
                looking.width(row["every_run"], unit) if row["every_run"] is not None else "–",
                _lost(row["one_lost"], row["untold_after_one"], unit),
                _lost(row["two_lost"], row["untold_after_two"], unit),
                row["dearest_run"] or ("none: all alike" if row["one_lost"] is not None else "–"),
                "–" if row["dearest_lost"] is None else looking.width(row["dearest_lost"], unit),
                row["note"] or "",
            )
        )
    made = without_empty(_plain("How wide each interval will be", head, rows, (*head[3:7], "without it")), "note")
    told = (
        "Half-widths at the scatter as estimated; ×/÷ 1.20 reaches from the ratio / 1.20 to the ratio x 1.20. With "
        "runs lost: on average over the runs lost, which are not made again."
    )
    return replace(made, notes=(told,))


def without_empty(told: Told, *names: str) -> Told:
    """A table without those of its columns that have nothing in any row; without ``names`` any column may go."""
    kept = [
        at
        for at, name in enumerate(told.head)
        if (names and name not in names) or any(row[at] not in ("", "–") for row in told.rows)
    ]
    rows = tuple(tuple(row[at] for at in kept) for row in told.rows)
    return replace(told, head=tuple(told.head[at] for at in kept), rows=rows)


def started(line: str, made: Properties) -> str:
    """A line with a capital letter, unless it begins with the name of a term."""
    names = [str(name) for name in made.inflation["term"]] if len(made.inflation) else []
    names += design_plot.terms(made.correlations) if len(made.correlations) else []
    return line if line.startswith(tuple(f"{name} " for name in names)) else plot_look.capital(line)


def _lost(value: float | None, untold: float | None, unit: str) -> str:
    """A half-width after losses, with the share of cases that leave none."""
    if value is None:
        return "none left" if untold else "–"
    more = f" (none left in {100 * untold:.0f} %)" if untold else ""
    return f"{looking.width(value, unit)}{more}"


def efficiencies(made: Properties) -> Told:
    """D, A, G, I, and the variance of prediction."""
    found = made.efficiencies
    rows = [(name.upper(), f"{found[name]:.1f} %") for name in ("d", "a", "g", "i")]
    rows += [
        ("parameters", f"{found['parameters']:.0f}"),
        ("runs", f"{found['runs']:.0f}"),
        ("variance of a prediction, mean", f"{found['mean_variance']:.3f}"),
        ("variance of a prediction, largest", f"{found['largest_variance']:.3f}"),
    ]
    told = f"Predictions are told {made.space}, in units of the variance of a run."
    return replace(_plain("Efficiencies of the design", ("figure", "value"), rows, ("value",)), notes=(_ABOUT, told))


def terms(found: Properties) -> Told:
    """Variance inflation, a line a term."""
    rows = [(row["term"], f"{row['inflation']:.3f}") for row in found.inflation.to_dict("records")]
    head = ("term", "inflation")
    return _plain("Variance inflation (1: stands apart from all others)", head, rows, head[1:])


def pairs(made: Properties, *, most_terms: int = design_plot.MOST_TERMS, most: int = MOST_PAIRS) -> Told:
    """The lower triangle of correlations of up to so many terms; where there are more the largest of them."""
    found = made.correlations
    names = design_plot.terms(found)
    notes = tuple(f"{started(line, made)}." for line in made.sentences)
    if len(names) <= most_terms:
        held = {(row["term"], row["other"]): row["correlation"] for row in found.to_dict("records")}
        rows = [
            (
                other,
                *(_number(held.get((term, other), 0.0)) for term in names[:down]),
                *("" for _ in names[down:-1]),
            )
            for down, other in enumerate(names[1:], start=1)
        ]
        whole = _plain("Correlations of the terms", ("term", *names[:-1]), rows, tuple(names[:-1]))
        return replace(whole, notes=notes)
    some = found[found["correlation"].abs() > 1e-9]
    some = some.loc[some["correlation"].abs().sort_values(ascending=False, kind="stable").index].head(most)
    rows = [(row["term"], row["other"], _number(row["correlation"])) for row in some.to_dict("records")]
    head = ("term", "other", "correlation")
    return replace(_plain("Correlations of the terms, the largest", head, rows, head[2:]), notes=notes)


def runs(found: Properties, *, natural: bool = True) -> Told:
    """The runs in natural and coded units, with their leverage; natural ones only where there are no coded ones."""
    coded = [name for name in found.coded.columns if name.endswith("_coded") and found.coded[name].notna().any()]
    plain = [name for name in found.coded.columns if not name.endswith("_coded")]
    natural = natural and len(coded) <= MOST_IN_BOTH
    plain = [name for name in plain if natural or f"{name}_coded" not in coded]
    weigh = dict(zip(found.leverage["run_id"], found.leverage["leverage"], strict=True))
    head = ("run", "build", *plain[2:], *(f"{name.removesuffix('_coded')}, coded" for name in coded), "leverage")
    rows = [
        (*(str(row[name]) for name in plain), *(_coded(row[name]) for name in coded), f"{weigh[row['run_id']]:.2f}")
        for row in found.coded.to_dict("records")
    ]
    caption = "The runs in natural and coded units" if natural else "The runs in coded units"
    return _plain(caption, head, rows, head[len(plain) :])


def _coded(value: object) -> str:
    """A coded level."""
    if value is None or pd.isna(value):
        return "–"
    return f"{float(str(value)):+.4g}".replace("+0", "0").replace("-", rounding.MINUS)


def _number(value: float) -> str:
    """A correlation; nought without decimals."""
    return "0" if abs(value) < 1e-9 else rounding.fixed(value, 2, sign=True)


def _plain(caption: str, head: Sequence[str], rows: Sequence[Sequence[object]], numbers: Sequence[str]) -> Told:
    """A table of values that are text already."""
    return Told(caption, tuple(head), tuple(tuple(str(cell) for cell in row) for row in rows), tuple(numbers))


def _df(value: object) -> str:
    """Degrees of freedom: whole ones as they are, others to one decimal; a dash where there are none."""
    if not rounding.known(value):
        return "–"
    found = float(str(value))
    return str(int(found)) if found.is_integer() else f"{found:.1f}"
