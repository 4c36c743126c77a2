"""Every picture of the gallery, drawn from the bundled campaigns (rank 10)."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from toolkit.brief.model import Factor, Level, PlanChoice
from toolkit.campaign import planning, steps
from toolkit.campaign.folder import Campaign
from toolkit.decide import mass_balance as balances
from toolkit.decide import reference_chart as charts
from toolkit.decide.analysis import Analysis
from toolkit.demo import bundled, lessons, oracle
from toolkit.design import factorial, orders, properties
from toolkit.intake import oil_corrections
from toolkit.intake.records import Records
from toolkit.model import fit as model_fit
from toolkit.model import unreplicated
from toolkit.plot import (
    design,
    effects,
    forecast,
    half_normal,
    mass_balance,
    master_drift,
    means,
    metals,
    oil_account,
    overview,
    plan,
    promise,
    recorded,
    records,
    reference_chart,
    residuals,
    scatter,
    seeds,
    sides,
    sizing,
    station_map,
    strata_tree,
    together,
    trace_wear,
)
from toolkit.plot.gallery import GALLERY, Picture
from toolkit.size.options import Options
from toolkit.size.what_if import what_if

_DRAWN_BY = {
    module.__name__.rpartition(".")[2]: module
    for module in (
        design, effects, forecast, half_normal, mass_balance, master_drift, means, metals, oil_account, overview,
        plan, promise, recorded, records, reference_chart, residuals, scatter, seeds, sides, sizing, station_map,
        strata_tree, together, trace_wear,
    )
}  # fmt: skip

Given = tuple[tuple[Any, ...], dict[str, Any]]


@dataclass(frozen=True, eq=False)
class Material:
    """What the pictures are drawn from; all of it is INVENTED.

    Attributes
    ----------
    chain : Campaign
        The chain campaign with its pilot and its runs.
    sizing : Options
        Of the chain campaign, from its pilot.
    analysis : Analysis
        Of the chain campaign.
    pins : Campaign
        The campaign whose pins were traced, with masters, reference runs and metals in the oil.
    records : Records
        Of the pins.
    """

    chain: Campaign
    sizing: Options
    analysis: Analysis
    pins: Campaign
    records: Records


def material(folder: Path) -> Material:
    """What the pictures are drawn from, worked out from the bundled campaigns in a folder that is empty.

    Parameters
    ----------
    folder : Path
    """
    sizing = steps.size(bundled.bring("chain-soot", Path(folder) / "chain", phases=("pilot",), recordings=False))
    chain = bundled.bring("chain-soot", Path(folder) / "chain", phases=("pilot", "main"))
    pins = bundled.bring("pin-wear", Path(folder) / "pins", phases=("main",))
    return Material(chain, sizing, steps.analysis_of(chain), pins, pins.records())


def pictures(found: Material) -> Iterator[tuple[Picture, Any, str]]:
    """Each picture of the gallery in its order, with the figure or axes and the text alternative.

    Parameters
    ----------
    found : Material
    """
    known = _given(found)
    for item in GALLERY:
        module, _, name = item.call.partition(".")
        plot = _DRAWN_BY[module]
        args, asked = known[item.call]()
        made = getattr(plot, name)(*args, **asked)
        drawn = made[0] if isinstance(made, list) else made
        if item.call.startswith("residuals.by_"):
            # One of the three that the panel is made of: its text alternative is that of the panel.
            asked.setdefault("sentences", ())
            name = "panel"
        yield item, drawn, getattr(plot, f"alt_{name}")(*args, **asked)


def _given(found: Material) -> dict[str, Callable[[], Given]]:
    """What each picture is drawn from, by its call."""
    brief, sizing, analysis, records = found.chain.brief, found.sizing, found.analysis, found.records
    primary = brief.responses[0].name
    told = analysis.responses[primary]
    response = {"response": primary}
    order = orders.randomise(planning.designed(brief, "main"), seed=brief.seed)
    plan = order.design.name
    of_plan = {**response, "plan": plan}
    look = properties.properties(told.fit.strata)
    answers = (told.comparisons, told.verdicts, brief)
    sentences = [str(line) for line in told.checks.table["sentence"]]
    left = (told.checks.residuals, brief)
    return {
        "plan.plan_map": lambda: ((order.table, brief), {}),
        "strata_tree.strata_tree": lambda: ((told.fit.strata,), {}),
        "design.correlations": lambda: ((look.correlations,), {}),
        "design.prediction": lambda: ((look.prediction, look.space), {}),
        "sizing.detectable": lambda: ((sizing.table, brief), response),
        "promise.curves": lambda: ((what_if(sizing, plan).curve, brief), of_plan),
        "overview.overview": lambda: ((sizing.table, sizing.advice.lost, brief), of_plan),
        "forecast.outcomes": lambda: ((sizing.table, brief), {**response, "name": plan}),
        "scatter.scatter": lambda: ((sizing.scatter, brief), response),
        "records.timeline": lambda: ((analysis.records.runs, brief), response),
        "station_map.station_map": lambda: ((records.stations, "pin_wear_um"), {}),
        "means.means": lambda: ((told.means, told.fit.runs, brief), response),
        "means.interaction": lambda: (
            (told.comparisons, told.means, told.verdicts, brief),
            {"comparison": next(item.name for item in brief.comparisons if item.interaction)},
        ),
        "sides.sides": lambda: (
            (told.comparisons, told.means, told.fit.runs, told.verdicts, brief),
            {"comparison": brief.comparisons[0].name},
        ),
        "effects.comparisons": lambda: (answers, {"runs": told.fit.strata.run_count}),
        "together.together": lambda: (_together(analysis), {}),
        "half_normal.half_normal": lambda: _one_run_each(found),
        "residuals.panel": lambda: (left, {**response, "sentences": sentences, "envelope": told.envelope}),
        "residuals.by_fitted": lambda: (left, dict(response)),
        "residuals.by_order": lambda: (left, dict(response)),
        "residuals.by_quantile": lambda: (left, {**response, "envelope": told.envelope}),
        "seeds.spread": lambda: ((lessons.luck(brief, oracle.spread(brief, seeds=700).by_seed), brief), {}),
        "recorded.windows": lambda: ((_recorded(analysis), "sump_temp_degC"), {}),
        "recorded.sweeps": lambda: ((_recorded(analysis),), {}),
        "reference_chart.reference_chart": lambda: (
            (charts.chart(found.pins.brief, records.runs, "pin_wear_um", earlier=records.metrology.earlier),),
            {},
        ),
        "master_drift.master_drift": lambda: ((records.metrology.drifts[0],), {}),
        "trace_wear.trace_wear": lambda: (
            (next(pair for pair in records.metrology.traces.pairs if pair.aligned is not None),),
            {},
        ),
        "oil_account.oil_account": lambda: ((_accounts(found)["R03"], "R03", "fe_ppm"), {}),
        "metals.metals": lambda: ((_accounts(found), "fe_ppm"), {}),
        "mass_balance.mass_balance": lambda: (
            (balances.balance(found.pins.brief, records.runs, records.oil), "fe_ppm"),
            {},
        ),
    }


def _together(analysis: Analysis) -> tuple[Any, ...]:
    """The primary response and the first that goes with it."""
    row = analysis.agreement.to_dict("records")[0]
    one, other = analysis.responses[row["response"]], analysis.responses[row["other"]]
    return row, one.fit.runs, one.checks.residuals, other.checks.residuals, analysis.brief


def _recorded(analysis: Analysis) -> dict[str, Any]:
    """The recordings of two runs."""
    return {name: analysis.records.recordings[name] for name in ("R09", "R10")}


def _accounts(found: Material) -> dict[str, Any]:
    """The account of iron of every run of the pins that has samples."""
    oil, runs = found.records.oil, found.records.runs
    return {
        str(run["run_id"]): oil_corrections.account(
            found.pins.brief, run, oil[oil["run_id"] == run["run_id"]], "fe_ppm"
        )
        for _, run in runs.iterrows()
        if (oil["run_id"] == run["run_id"]).any()
    }


def _one_run_each(found: Material) -> Given:
    """Sixteen INVENTED runs, one of each combination of four factors, of which two do something."""
    brief, primary = found.chain.brief, found.chain.brief.responses[0].name
    levels = (Level("N", "as it is"), Level("Y", "as proposed"))
    more = (Factor("tensioner", "part", levels), Factor("oil_jet", "part", levels))
    four = replace(brief, factors=(*brief.factors, *more), comparisons=(), block_by=None, plan=PlanChoice(replicates=1))
    runs = factorial.full(four).table
    size = {"pin": -0.4, "tensioner": -0.25}
    second = {item.name: runs[item.name].eq(item.names[1]).to_numpy(dtype=float) for item in four.factors}
    scatter = np.random.default_rng(1).normal(0.0, 0.08, len(runs))
    value = 0.2 * np.exp(sum(size.get(name, 0.0) * at for name, at in second.items()) + scatter)
    rows = runs.assign(
        run_id=[f"R{at + 1:02d}" for at in range(len(runs))], phase="main", verdict="valid", actual_order=range(1, 17),
        **{primary: value},
    )  # fmt: skip
    made = unreplicated.effects(model_fit.fit(four, rows, primary), seed=brief.seed)
    return (made, four), {"response": primary}
