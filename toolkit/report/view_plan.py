"""What a notebook and the report show of a plan before it is run: tables, pictures where they say more (rank 10)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pandas as pd
from markupsafe import Markup

from toolkit.campaign import looking
from toolkit.campaign.looking import Look
from toolkit.design.strata import Strata
from toolkit.plot import design as design_plot
from toolkit.plot import look as plot_look
from toolkit.plot import strata_tree
from toolkit.report import tables, view
from toolkit.report.show import show
from toolkit.report.table import Table
from toolkit.report.view import Shown

# Of correlations that are not nil the largest so many are listed where the triangle has too many terms.
MOST_PAIRS = 40
_ABOUT = (
    "D: how small the region of all estimates is together; A: their mean variance; G: the worst prediction; I: the "
    "mean prediction. 100 % is an orthogonal plan of as many runs for D, A and G, and runs spread evenly over the "
    "space for I; with squares, and for I, it may be more."
)


def shown(look: Look) -> Shown:
    """Everything that is told of a design, as tables and sentences."""
    return Shown([*tables_of(look), *_said(look)])


def figures(look: Look) -> None:
    """Show the pictures of a design that say more than its tables."""
    from IPython.display import display

    drawn = pictures(look)
    if not drawn:
        display(Shown([_no_picture(look)]))
    for ax, alt, _ in drawn:
        show(ax, alt)


def strata(laid: Strata) -> Shown:
    """Show the strata as a picture; gives their table."""
    show(strata_tree.strata_tree(laid), strata_tree.alt_strata_tree(laid))
    return view.strata(laid)


def _no_picture(look: Look) -> str:
    """Why there is nothing to draw."""
    if (look.properties.correlations["correlation"].abs() > 1e-9).any():
        return "No picture: the tables above say all there is."
    return "No picture: every prediction is equally sure, and every term stands apart from every other."


def pictures(look: Look) -> list[tuple[object, str, str]]:
    """The pictures with their text alternatives and captions; none where there is nothing to see."""
    found, made = look.properties, []
    variance = found.prediction["variance"]
    if len(variance) and float(variance.max()) - float(variance.min()) > 0.02 * float(variance.max()):
        given = (found.prediction, found.space)
        caption = "Variance of a prediction, by the share of the space of the factors"
        made.append((design_plot.prediction(*given), design_plot.alt_prediction(*given), caption))
    pairs = found.correlations
    few = 2 < len(design_plot.terms(pairs)) <= design_plot.MOST_TERMS
    if few and (pairs["correlation"].abs() > 1e-9).any():
        caption = "Correlations of the terms; framed: cannot be told apart"
        made.append((design_plot.correlations(pairs), design_plot.alt_correlations(pairs), caption))
    return made


def tables_of(look: Look) -> tuple[Table, ...]:
    """The tables of a look, the half-widths first."""
    found = look.properties
    made = [_widths(look)] if len(look.widths) else []
    made += [_efficiencies(look)] if found.efficiencies else []
    made += [_terms(look)] if len(found.inflation) else []
    made += [_pairs(look)] if len(found.correlations) else []
    return (*made, _runs(look))


def _said(look: Look) -> list[object]:
    """What is said beside the tables."""
    lines = sentences(look)
    return [Markup("<ul>{}</ul>").format(Markup("").join(Markup("<li>{}</li>").format(line) for line in lines))] * bool(
        lines
    )


def _widths(look: Look) -> Table:
    """Half-widths with every run, and with some lost."""
    head = ("comparison", "response", "judged between", "error df", "every run", "one run lost", "two runs lost")
    head = (*head, "dearest run to lose", "without it", "note")
    rows = []
    for row in look.widths.to_dict("records"):
        unit = row["told_in"]
        rows.append(
            (
                row["comparison"],
                row["response"] or "–",
                row["error_stratum"] or "–",
                tables.df(row["error_df"]),
                looking.width(row["every_run"], unit) if row["every_run"] is not None else "–",
                _lost(row["one_lost"], row["untold_after_one"], unit),
                _lost(row["two_lost"], row["untold_after_two"], unit),
                row["dearest_run"] or ("none: all alike" if row["one_lost"] is not None else "–"),
                "–" if row["dearest_lost"] is None else looking.width(row["dearest_lost"], unit),
                row["note"] or "",
            )
        )
    made = tables.plain("How wide each interval will be", head, rows, head[3:7])
    told = (
        "Half-widths at the scatter as estimated; ×/÷ 1.20 reaches from the ratio / 1.20 to the ratio x 1.20. With "
        "runs lost: on average over the runs lost, which are not made again."
    )
    return replace(made, notes=(told,))


def _lost(value: float | None, untold: float | None, unit: str) -> str:
    """A half-width after losses, with the share of cases that leave none."""
    if value is None:
        return "none left" if untold else "–"
    more = f" (none left in {100 * untold:.0f} %)" if untold else ""
    return f"{looking.width(value, unit)}{more}"


def _efficiencies(look: Look) -> Table:
    """D, A, G, I, and the variance of prediction."""
    found = look.properties.efficiencies
    rows = [(name.upper(), f"{found[name]:.1f} %") for name in ("d", "a", "g", "i")]
    rows += [
        ("parameters", f"{found['parameters']:.0f}"),
        ("runs", f"{found['runs']:.0f}"),
        ("variance of a prediction, mean", f"{found['mean_variance']:.3f}"),
        ("variance of a prediction, largest", f"{found['largest_variance']:.3f}"),
    ]
    made = tables.plain("Efficiencies of the design", ("figure", "value"), rows, ("value",))
    return replace(
        made, notes=(_ABOUT, f"Predictions are told {look.properties.space}, in units of the variance of a run.")
    )


def _terms(look: Look) -> Table:
    """Variance inflation, a line a term."""
    rows = [(row["term"], f"{row['inflation']:.3f}") for row in look.properties.inflation.to_dict("records")]
    head = ("term", "inflation")
    return tables.plain("Variance inflation (1: stands apart from all others)", head, rows, head[1:])


def _pairs(look: Look) -> Table:
    """The lower triangle of correlations; where it would be too large the largest of them."""
    found = look.properties.correlations
    names = design_plot.terms(found)
    notes = tuple(f"{plot_look.capital(line)}." for line in look.properties.sentences)
    if len(names) <= design_plot.MOST_TERMS:
        held = {(row["term"], row["other"]): row["correlation"] for row in found.to_dict("records")}
        rows = [
            (
                other,
                *(_number(held.get((term, other), 0.0)) for term in names[:down]),
                *("" for _ in names[down:-1]),
            )
            for down, other in enumerate(names[1:], start=1)
        ]
        made = tables.plain("Correlations of the terms", ("", *names[:-1]), rows, tuple(names[:-1]))
        return replace(made, notes=notes)
    some = found[found["correlation"].abs() > 1e-9]
    some = some.loc[some["correlation"].abs().sort_values(ascending=False, kind="stable").index].head(MOST_PAIRS)
    rows = [(row["term"], row["other"], _number(row["correlation"])) for row in some.to_dict("records")]
    head = ("term", "other", "correlation")
    made = tables.plain("Correlations of the terms, the largest", head, rows, head[2:])
    return replace(made, notes=notes)


def _runs(look: Look) -> Table:
    """The runs in natural and coded units, with their leverage."""
    found = look.properties
    coded = [name for name in found.coded.columns if name.endswith("_coded") and found.coded[name].notna().any()]
    plain = [name for name in found.coded.columns if not name.endswith("_coded")]
    weigh = dict(zip(found.leverage["run_id"], found.leverage["leverage"], strict=True))
    head = ("run", "build", *plain[2:], *(f"{name.removesuffix('_coded')}, coded" for name in coded), "leverage")
    rows = [
        (*(str(row[name]) for name in plain), *(_coded(row[name]) for name in coded), f"{weigh[row['run_id']]:.2f}")
        for row in found.coded.to_dict("records")
    ]
    return tables.plain("The runs in natural and coded units", head, rows, head[len(plain) :])


def _coded(value: object) -> str:
    """A coded level."""
    return "–" if value is None or pd.isna(value) else f"{float(str(value)):+.4g}".replace("+0", "0")


def _number(value: float) -> str:
    """A correlation; nought without decimals."""
    return "0" if abs(value) < 1e-9 else f"{value:+.2f}"


def sentences(look: Look) -> Sequence[str]:
    """What is said of a look, for the report."""
    return (*look.order, *look.notes, *look.properties.notes)
