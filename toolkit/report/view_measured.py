"""What the notebooks show of metrology, laboratory and reference runs (rank 10)."""

from __future__ import annotations

from markupsafe import Markup

from toolkit.decide.analysis import Analysis
from toolkit.report import measured_figures, measured_tables
from toolkit.report.show import show
from toolkit.report.view import Shown

NOTHING = (
    "The campaign has tables of stations and samples alone: no traces, masters, gauge study, [oil] or [reference]."
)


def measured(analysis: Analysis) -> Shown:
    """What they say in sentences, then every table."""
    found = analysis.measured
    if found.empty:
        return Shown([NOTHING])
    listed = Markup("").join(Markup("<li>{}</li>").format(line) for line in found.sentences)
    return Shown([Markup("<ul>{}</ul>").format(listed), *measured_tables.tables(found, analysis.brief)])


def figures(analysis: Analysis) -> None:
    """Show every picture of them."""
    if not analysis.measured.empty:
        for drawn, alt, _ in measured_figures.figures(analysis):
            show(drawn, alt)
