"""What the notebooks show: tables and figures of results already made, one call a cell (rank 10)."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from markupsafe import Markup

from toolkit import cautions as caution_lines
from toolkit import errors, measured_in
from toolkit.brief import by_position
from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief
from toolkit.campaign import order_words
from toolkit.decide import pending
from toolkit.decide.analysis import Analysis
from toolkit.design import chosen as design_chosen
from toolkit.design import in_builds, optimal, plots_fraction, questions
from toolkit.design import strata as design_strata
from toolkit.design import terms as model_terms
from toolkit.design.orders import CORRELATIONS, Order
from toolkit.design.strata import Strata
from toolkit.explain import subjects
from toolkit.intake.columns import VOID
from toolkit.plot import answers, effects, means, residuals, rounding
from toolkit.report import tables, view_words, words
from toolkit.report.show import show
from toolkit.report.tables import Table
from toolkit.size import in_words
from toolkit.size.options import Options

# An error in a notebook that shows results ends with where more is said of it, as on the command line.
errors.tell_more(subjects.more)


# How a browser leaves a number and its unit on one line.
_WHOLE = "white-space:nowrap"


class Shown:
    """HTML that a notebook shows; its text form is the same without marks."""

    def __init__(self, parts: Iterable[object]) -> None:
        """Keep the parts, escaped where they are text."""
        self._html = Markup("").join(
            part if hasattr(part, "__html__") else Markup("<p>{}</p>").format(part) for part in parts
        )

    def _repr_html_(self) -> str:
        """The parts below each other; JupyterLab sets every cell to the right, so that words are told to go left."""
        left = r'<\1\2 style="text-align: left">'
        made = re.sub(r'<(td|th|caption)((?: (?!class="n[" ])[a-z]+="[^"]*")*)>', left, str(self._html))
        return made.replace('<td class="n">', f'<td class="n" style="{_WHOLE}">')

    def __repr__(self) -> str:
        """The text alone: a line a row or paragraph, cells apart."""
        lined = re.sub(r"</(tr|p|li|caption)>", "\n", re.sub(r"</(td|th)>(?!</tr>)", " | ", str(self._html)))
        return Markup(re.sub(r"<[^>]*>", "", lined)).unescape().strip()


def primary(brief: Brief) -> str:
    """The name of the primary response.

    Examples
    --------
    >>> from toolkit import shipped
    >>> from toolkit.brief import reading
    >>> primary(reading.read(shipped.folder("data") / "chain-soot" / "campaign.toml"))
    'elongation_pct'
    """
    return next(item.name for item in brief.responses if item.role == "primary")


def question(brief: Brief) -> Shown:
    """The question, the factors, the responses and the comparisons.

    Examples
    --------
    >>> from toolkit import shipped
    >>> from toolkit.brief import reading
    >>> told = question(reading.read(shipped.folder("data") / "chain-soot" / "campaign.toml"))
    >>> print(*repr(told).splitlines()[1:5], sep="\\n")
    Factors (the first level is the baseline)
    factor | levels | to change it, undo | unit
    pin | P0 (ground steel), P1 (nitride-coated) | part | run
    oil | O0 (current), O1 (new additive system, same grade) | fill | run
    """
    factors = tables.plain(
        "Factors (the first level is the baseline)",
        ("factor", "levels", "to change it, undo", "unit"),
        [
            (
                item.name,
                ", ".join(
                    level if item.label_of(level) == level else f"{level} ({item.label_of(level)})"
                    for level in item.names
                ),
                item.undo,
                design_strata.unit_of(brief, item),
            )
            for item in brief.factors
        ],
    )
    responses = tables.plain(
        "Responses",
        ("response", "role", "better", "scale", "run value"),
        [
            (
                measured_in.quantity(item.name),
                item.role,
                item.better,
                item.scale,
                f"{item.per_run} over {item.stations.count} {item.stations.kind}s"
                if item.stations
                else f"{item.per_run} ({item.source} table)",
            )
            for item in brief.responses
        ],
    )
    terms = model_terms.of_brief(brief)
    asked = tables.plain(
        "Comparisons",
        ("comparison", "what is compared", "worthwhile change", "judged in family"),
        [
            (
                item.name,
                questions.of_comparison(brief, item, terms).contrast,
                view_words.worthwhile(brief, item),
                item.family or "alone",
            )
            for item in brief.comparisons
        ],
    )
    parts: list[object] = [Markup("<p><strong>{}</strong></p>").format(brief.question), factors, responses, asked]
    if brief.best_of:
        rows = [(item.factor, _lead(brief, item)) for item in brief.best_of]
        parts.append(tables.plain("Picking the best", ("factor", "lead worth picking for"), rows))
    return Shown(parts)


def _lead(brief: Brief, asked: brief_model.BestOf) -> str:
    """The lead a choice is asked for, with its unit."""
    response = brief.response(primary(brief))
    gain = brief_model.lead(asked, response)
    return "–" if gain is None else in_words.changed(response, gain)


def layout(brief: Brief) -> Shown:
    """The layout the brief leads to, and the strata of the chosen or the smallest design.

    Examples
    --------
    >>> from toolkit import shipped
    >>> from toolkit.brief import reading
    >>> layout(reading.read(shipped.folder("data") / "sprocket-build" / "campaign.toml"))
    Layout: whole plots. Strata of full factorial, 8 builds as units, 2 runs in each (as chosen):
    Strata
    stratum | units | what it is for | terms judged here | error df
    build | 8 | unit of the build-level factors | sprocket | 6
    run | 16 | experimental unit and error | oil, sprocket × oil | 6
    """
    chosen = brief.plan.builds or brief.plan.replicates
    groups = math.prod(len(f.levels) for f in brief.factors if design_strata.unit_of(brief, f) == "build")
    # The builds of an optimal set hold the levels as the search laid them out.
    groups = 1 if optimal.used(brief) or plots_fraction.used(brief) else groups
    name, of_builds = in_builds.layout(brief), design_strata.layout_of_builds(brief)
    made = (
        design_chosen.main(brief)
        if chosen
        else design_chosen.main(
            brief,
            **(
                {"replicates": 2}
                if of_builds == design_strata.RANDOMISED
                else {"builds": 2 * groups * design_chosen.spread(brief)}
            ),
        )
    )
    told = "as chosen" if chosen else "the smallest with an error, as the size is not chosen yet"
    return Shown([f"Layout: {name}. Strata of {made.name} ({told}):", _strata_table(made.strata)])


def strata(laid: Strata) -> Shown:
    """What is judged against what.

    Examples
    --------
    >>> from toolkit import shipped
    >>> from toolkit.brief import reading
    >>> from toolkit.design import factorial
    >>> brief = reading.read(shipped.folder("data") / "chain-soot" / "campaign.toml")
    >>> strata(factorial.full(brief, builds=3).strata)
    Strata
    stratum | units | what it is for | terms judged here | error df
    build | 3 | block: compared within, never an error | – | –
    run | 12 | experimental unit and error | pin, oil, pin × oil | 6
    station | 120 | sub-sample (segment) | – | –
    reading | 240 | sub-sample | – | –
    """
    return Shown([_strata_table(laid)])


def drift(order: Order) -> Shown:
    """How far each comparison follows the run order."""
    table = order.drift.dropna(subset=["with_run_order"])
    if table.empty:
        return Shown(["No comparison of the brief can be estimated from this phase alone."])
    head = ("over the campaign", "within builds", "with its square", "square within builds")
    return Shown(
        [
            tables.plain(
                "Correlation of each comparison with run order (0: a steady drift does not touch it)",
                ("comparison", *head),
                [
                    (row["comparison"], *(view_words.signed(row[name]) for name in CORRELATIONS))
                    for row in table.to_dict("records")
                ],
                head,
            ),
            *filter(None, [order_words.pointer(order)]),
        ]
    )


def cautions() -> Shown:
    """The cautions."""
    lines = Markup("").join(Markup("<li>{}</li>").format(line) for line in caution_lines.LINES)
    return Shown([caution_lines.HEADER, Markup("<ul>{}</ul>").format(lines)])


def plan_to_look_at(sizing: Options) -> str:
    """The name of the recommended plan, or of the largest within the budget."""
    if sizing.recommended is not None:
        return sizing.recommended.name
    inside = [item for item in sizing.options if item.within_budget]
    return max(inside, key=lambda item: item.design.runs).name


def claims(sizing: Options, plan: str) -> Shown:
    """Every claim of one plan."""
    chosen = sizing.option(plan)
    head = (
        "response",
        "comparison or term",
        "judged between",
        "error df",
        "true change assumed",
        "power",
        "chance shown",
        "at the 80 % upper limit",
        "detectable",
        "expected half-width",
        "if shown, overstated",
        "runs to promise it whatever the scatter",
        "note",
    )
    rows = []
    for item in chosen.claims:
        response = sizing.brief.response(item.response)
        rows.append(
            (
                measured_in.quantity(item.response),
                item.comparison or f"term {item.term}",
                tables.units(item.error_stratum),
                tables.df(item.error_df),
                rounding.minus(in_words.assumed(response, item)),
                view_words.share(item.power),
                view_words.share(item.assurance),
                view_words.share(item.power_at_upper_scatter),
                rounding.minus(in_words.detectable(response, item)),
                view_words.reach(item.half_width_ratio, item.half_width, response),
                "–" if item.exaggeration is None else f"× {item.exaggeration:.2f}",
                "–" if item.iron is None else str(item.iron),
                item.note,
            )
        )
    made = tables.plain(f"What {plan} can show", head, rows, head[3:12])
    return Shown([made if any(cells[-1] for cells in rows) else made.without("note"), *sizing.notes])


def findings(analysis: Analysis) -> Shown:
    """What the records say that needs a look, and the runs that are not used."""
    parts: list[object] = [analysis.headline]
    runs = analysis.records.runs
    if len(analysis.pending):
        parts.append(tables.pending(analysis.pending, by_position.as_recorded(analysis.brief)))
    if runs["verdict"].isin(VOID).any():
        late = [run_id for run_id, cells in pending.after_look(analysis.records).items() if "verdict" in cells]
        parts.append(tables.not_used(runs, by_position.as_recorded(analysis.brief), late))
    if len(analysis.records.findings):
        parts.append(tables.findings(analysis.records.findings))
    return Shown([*parts, *analysis.notes])


def comparisons(analysis: Analysis) -> Shown:
    """The table of comparisons of every response, and the reason where one could not be analysed."""
    parts: list[object] = []
    for item in analysis.responses.values():
        if item.fit is None:
            parts.append(f"{item.response} was not analysed: {item.stopped}")
            continue
        rows = answers.of(item.comparisons, item.verdicts, analysis.brief)
        response = analysis.brief.response(item.response)
        parts.append(tables.told(tables.comparisons(rows, item.comparisons, response), item.interim))
        if len(item.worst_cases):
            parts.append(tables.worst_cases(rows, item.worst_cases, response))
    return Shown(parts)


def anova(analysis: Analysis) -> Shown:
    """The analysis of variance of every response."""
    return Shown(
        [
            tables.told(tables.anova(item.anova, analysis.brief.response(item.response)), item.interim)
            for item in analysis.responses.values()
            if item.fit is not None and len(item.anova)
        ]
    )


def comparison_figures(analysis: Analysis) -> None:
    """Show each response's comparisons on the worthwhile band."""
    for item in analysis.responses.values():
        if item.fit is not None and len(item.comparisons):
            given = (item.comparisons, item.verdicts, analysis.brief)
            show(
                effects.comparisons(*given, runs=item.fit.strata.run_count),
                effects.alt_comparisons(*given, runs=item.fit.strata.run_count),
            )


def mean_figures(analysis: Analysis) -> None:
    """Show each response's combination means with every run."""
    for item in analysis.responses.values():
        if item.fit is not None:
            given = (item.means, item.fit.runs, item.fit.brief)
            asked = {"response": item.response, "interim": item.interim}
            show(means.means(*given, **asked), means.alt_means(*given, **asked))


def residual_figures(analysis: Analysis) -> None:
    """Show each response's residuals, or say why there are none."""
    from IPython.display import display

    for item in analysis.responses.values():
        if item.checks is None:
            continue
        if item.envelope is None or not len(item.envelope):
            display(Shown([f"{measured_in.quantity(item.response)}: {words.NO_RESIDUALS}"]))
            continue
        told = [str(line) for line in item.checks.table["sentence"]]
        given = (item.checks.residuals, item.fit.brief)
        asked: dict[str, Any] = {"response": item.response, "sentences": told, "envelope": item.envelope}
        show(residuals.panel(*given, **asked)[0], residuals.alt_panel(*given, **asked))
        if residuals.heading(told) != "; ".join(told):
            display(Shown([Markup("<ul>{}</ul>").format(Markup("").join(map(Markup("<li>{}</li>").format, told)))]))


def relative(paths: Sequence[Path], folder: Path) -> list[str]:
    """Paths as seen from the campaign folder.

    Examples
    --------
    >>> relative([Path("trial/plan/1-main/plan.json")], Path("trial"))
    ['plan/1-main/plan.json']
    """
    return [str(path.relative_to(folder)) for path in paths]


def _strata_table(laid: Strata) -> Table:
    """The strata as a table."""
    rows = [
        (row["stratum"], str(row["units"]), row["role"], row["terms"] or "–", tables.df(row["error_df"]))
        for row in laid.table.to_dict("records")
    ]
    return tables.plain(
        "Strata", ("stratum", "units", "what it is for", "terms judged here", "error df"), rows, ("units", "error df")
    )
