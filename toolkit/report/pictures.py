"""The pictures of a report and what stands beside them, begun while the rest of it is put together (rank 10)."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial
from typing import Any

from toolkit import copies
from toolkit.campaign.looking import Look
from toolkit.decide.analysis import Analysis
from toolkit.report import measured_figures, measured_tables, recorded_tables, together_figures, view_plan
from toolkit.report.sections import Figure, ReportInput, figure_of, section


class Pictures:
    """Whatever of a report rests on the analysis and holds pictures."""

    def __init__(self, found: Analysis, sizing: Mapping[str, Any] | None, copy: copies.Copy | None = None) -> None:
        """Of an analysis and what was sealed of the sizing; a copy begins to draw at once."""
        parts = ReportInput(found, {}, sizing)
        # The largest ones first.
        tasks = [("sections", partial(section, parts, item)) for item in found.responses.values()]
        if not found.recorded.empty:
            tasks += [("recorded", partial(_wide, draw)) for draw in recorded_tables.drawings(found)]
        tasks += [("measured", partial(_measured, found)), ("together", partial(_together, found))]
        self._names = [name for name, _ in tasks]
        self._begun = copies.Begun([task for _, task in tasks], copy)

    def drawn(self) -> dict[str, Any]:
        """Sections, pictures of recordings, what was measured, and responses together."""
        made: dict[str, Any] = {"sections": [], "recorded": []}
        for name, one in zip(self._names, self._begun.results(), strict=True):
            if name in made:
                made[name].append(one)
            else:
                made[name] = one
        return made


def of_design(look: Look) -> dict[str, Any]:
    """What a plan was like before it was run: sentences, tables, figures."""
    return {
        "name": f"{look.phase}: {look.name}",
        "sentences": view_plan.sentences(look),
        "tables": view_plan.tables_of(look),
        "figures": [figure_of(*item, wide=True) for item in view_plan.pictures(look)],
    }


def _wide(draw: Callable[[], tuple[Any, str, str]]) -> Figure:
    """A picture over the whole width."""
    return figure_of(*draw(), wide=True)


def _together(found: Analysis) -> list[Figure]:
    """The pictures of responses against each other."""
    return [figure_of(*item, wide=True) for item in together_figures.figures(found)]


def _measured(found: Analysis) -> dict[str, Any]:
    """What metrology, laboratory and reference runs say: sentences, tables, figures; nothing where there is none."""
    if found.measured.empty:
        return {"measured": None}
    figures = [figure_of(*item, wide=True) for item in measured_figures.figures(found)]
    tables_of = measured_tables.tables(found.measured, found.brief)
    return {"measured": {"sentences": found.measured.sentences, "tables": tables_of, "figures": figures}}
