"""What a notebook and the report show of a plan before it is run: tables, pictures where they say more (rank 10)."""

from __future__ import annotations

from collections.abc import Sequence

from markupsafe import Markup

from toolkit.campaign import design_tables
from toolkit.campaign.design_tables import Told
from toolkit.campaign.looking import Look
from toolkit.design.strata import Strata
from toolkit.plot import design as design_plot
from toolkit.plot import strata_tree
from toolkit.report import view
from toolkit.report.show import show
from toolkit.report.table import Table
from toolkit.report.view import Shown


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
    made = [design_tables.widths(look.widths)] if len(look.widths) else []
    made += [design_tables.efficiencies(found)] if found.efficiencies else []
    made += [design_tables.terms(found)] if len(found.inflation) else []
    made += [design_tables.pairs(found)] if len(found.correlations) else []
    return tuple(_table(told) for told in (*made, design_tables.runs(found)))


def _said(look: Look) -> list[object]:
    """What is said beside the tables."""
    lines = sentences(look)
    return [Markup("<ul>{}</ul>").format(Markup("").join(Markup("<li>{}</li>").format(line) for line in lines))] * bool(
        lines
    )


def _table(told: Told) -> Table:
    """A table of a plan as the report prints it."""
    return Table(told.caption, told.head, told.rows, told.numbers, told.notes)


def sentences(look: Look) -> Sequence[str]:
    """What is said of a look, for the report."""
    return (*look.order, *look.notes, *look.properties.notes)
