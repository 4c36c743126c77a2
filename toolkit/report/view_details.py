"""What a notebook shows of an analysis beyond its verdicts: warnings, chances, levels, effects, model (rank 10)."""

from __future__ import annotations

from markupsafe import Markup

from toolkit import measured_in
from toolkit.decide.analysis import Analysis
from toolkit.plot import half_normal
from toolkit.report import (
    detail_tables,
    model_table,
    otherwise_tables,
    together_figures,
    together_tables,
    unrepeated_tables,
    weighed_tables,
)
from toolkit.report.show import show
from toolkit.report.view import Shown


def before_deciding(analysis: Analysis) -> Shown:
    """What could change an answer and needs a person to look."""
    lines = [str(text) for text in analysis.before_deciding["sentence"]]
    if not lines:
        return Shown(["No run, trend or rule was found that would change an answer."])
    listed = Markup("").join(Markup("<li>{}</li>").format(line) for line in lines)
    return Shown([Markup("<ul>{}</ul>").format(listed)])


def weighed(analysis: Analysis) -> Shown:
    """Chances, equivalence, being no worse and runs to settle, of every response."""
    parts = [weighed_tables.table(item) for item in analysis.responses.values()]
    return Shown([part for part in parts if part is not None] or ["Nothing can be weighed yet."])


def together(analysis: Analysis) -> Shown:
    """Every answer of every response in one table, and whether the responses go together run by run."""
    parts = (together_tables.every_answer(analysis), together_tables.agreement(analysis))
    return Shown([part for part in parts if part is not None] or ["There is one response."])


def together_pictures(analysis: Analysis) -> None:
    """Show the runs of the primary response against each other one, as measured and within treatments."""
    for drawn, alt, _ in together_figures.figures(analysis):
        show(drawn, alt)


def in_detail(analysis: Analysis) -> Shown:
    """Interactions with their simple effects, pairs of levels, and shapes over numbers."""
    parts = [part for item in analysis.responses.values() for part in detail_tables.tables(item, analysis.brief)]
    return Shown(parts or ["No interaction is asked for or shown, and no factor has three levels or more."])


def without_repeats(analysis: Analysis) -> Shown:
    """Effects judged by each other where nothing was repeated, with their half-normal picture."""
    parts: list[object] = []
    for item in analysis.responses.values():
        if item.unrepeated is None:
            continue
        found = item.unrepeated
        if found.effects is not None and found.judged:
            given = (found.effects, analysis.brief)
            drawn = half_normal.half_normal(*given, response=item.response)[0]
            show(drawn, half_normal.alt_half_normal(*given, response=item.response))
        parts += [f"{measured_in.quantity(item.response)}: {text}" for text in found.sentences]
        made = unrepeated_tables.table(found, analysis.brief.response(item.response))
        parts += [made] if made is not None else []
    return Shown(parts or ["These runs tell their scatter: effects are judged by it in the other tables."])


def otherwise(analysis: Analysis) -> Shown:
    """The answers at equal covariates, without a common scatter and with the gauge counted, beside those that count."""
    parts = [
        table
        for item in analysis.responses.values()
        if item.otherwise is not None
        for table in otherwise_tables.tables(item.otherwise, analysis.brief)
    ]
    return Shown(parts or ["No covariate is declared, levels scatter alike as far as can be seen, and wear is far from "
                           "the gauge's scatter where that is known."])  # fmt: skip


def model(analysis: Analysis) -> Shown:
    """The model of every response in words, as an equation and term by term."""
    parts: list[object] = []
    for item in analysis.responses.values():
        if item.model is not None:
            code = Markup("<p><code>{}</code></p>").format(item.model.equation)
            parts += [item.model.words, code, model_table.table(item.model)]
    return Shown(parts or ["No response could be analysed."])
