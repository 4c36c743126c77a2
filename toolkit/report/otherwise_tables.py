"""The answers as they would be otherwise, as tables of the report (rank 10)."""

from __future__ import annotations

from dataclasses import replace

from toolkit import measured_in
from toolkit.brief.model import Brief
from toolkit.decide.otherwise import Otherwise
from toolkit.plot import answers, look
from toolkit.report import tables as report_tables
from toolkit.report.table import Table


def tables(found: Otherwise, brief: Brief) -> tuple[Table, ...]:
    """The comparisons on every other basis beside those that count, and the means at equal covariates.

    Parameters
    ----------
    found : Otherwise
    brief : Brief
    """
    response = brief.response(found.response)
    judged = {(row["basis"], row["comparison"]): row for row in found.verdicts.to_dict("records")}
    rows = []
    for basis, frame in found.tables:
        for answer in answers.of(frame, None, brief):
            told = judged[basis, answer.name]
            now = told["verdict"] or "not analysed"
            mark = "yes" if told["differs"] else "no" if told["verdict"] else ""
            rows.append((answer.name, basis, answer.change, answer.interval, told["verdict_then"], now, mark))
    names = [item.name for item in brief.comparisons]
    rows.sort(key=lambda cells: names.index(cells[0]))
    head = ("comparison", "answered", "change", "interval", "verdict", "as judged", "differs")
    label = look.capital(measured_in.label(found.response))
    made = []
    if rows or found.sentences:
        table = report_tables.plain(f"{label}, answered otherwise", head, rows, head[2:4])
        made.append(replace(table, notes=found.sentences))
    equal = found.equal
    if equal is not None and equal.adjusted is not None:
        table = report_tables.means(equal.adjusted.means, brief, response)
        made.append(replace(table, caption=f"{table.caption}, at equal covariates"))
    return tuple(made)
