"""Every picture of the gallery with two factors and with seven, with short and with long names: no text lies on
another, is cut or is smaller than 9 points, each has a text alternative, and none is missing from the gallery.

The results are INVENTED and stand in for those of the toolkit; nothing is estimated.
"""

from __future__ import annotations

import ast
import dataclasses
import math
from importlib import import_module
from types import SimpleNamespace as Made

import numpy as np
import pandas as pd
import pytest

from tests.house.tree import sources
from tests.unit.plot import boxes, example
from toolkit.brief.metrology import Traces
from toolkit.brief.model import Comparison, Factor, Level, PlanChoice
from toolkit.design import chosen, factorial
from toolkit.plot import master_drift
from toolkit.plot.design import MOST_TERMS
from toolkit.plot.gallery import GALLERY

RESPONSE = "elongation_pct"
NAMES = ("pin", "oil", "load_step", "supplier_of_chain", "hardening", "sprocket_finish", "additive_of_oil")
LABELS = ("as it is today, from the old supplier", "hard chromium nitride of the second supplier")
CHANNEL = {False: "oil_temp_degC", True: "temperature_of_oil_in_main_gallery_degC"}


def brief_of(many):
    """Two factors and two comparisons with short names, or seven of both with long ones."""
    if not many:
        return example.brief(example.SHORT, 2)
    factors = tuple(
        Factor(name, "part", (Level(f"{name[:3]}0_today", LABELS[0]), Level(f"{name[:3]}1_proposed", LABELS[1])))
        for name in NAMES
    )
    asked = tuple(
        Comparison(words, of={item.name: item.names[1]}, against={item.name: item.names[0]}, family="may we switch")
        for words, item in zip(example.LONG, factors, strict=True)
    )
    both = Comparison(example.LONG[-1], interaction=(NAMES[0], NAMES[1]))
    return dataclasses.replace(example.brief(), factors=factors, comparisons=(*asked[:-1], both), block_by="build")


def runs_of(brief, many):
    """Sixteen runs in builds of four, each a combination of its own where there are enough."""
    every = brief.combinations
    step = max(1, len(every) // 16)
    rows = []
    for at in range(16 if many else 8):
        combo = every[(at * step) % len(every)]
        rows.append({"run_id": f"R{at + 1:02d}", "phase": "main", "build_id": f"B{at // 4 + 1}",
                     "planned_order": at + 1, "actual_order": at + 1,
                     **dict(zip(brief.factor_names, combo, strict=True)),
                     "verdict": "invalid" if at == 5 else "valid", "reason": "coolant hose burst" if at == 5 else "",
                     "role": "test engineer", RESPONSE: 0.1 * (1 + 0.1 * ((7 * at) % 5))})  # fmt: skip
    return pd.DataFrame(rows)


def means_of(brief, runs):
    """A mean of each combination that was run, and of each level."""
    whole = runs[list(brief.factor_names)].drop_duplicates().to_dict("records")
    levels = [{item.name: level} for item in brief.factors for level in item.names]
    rows = [{"response": RESPONSE, "contrast": "", "estimate": 0.1 + at / 200, "std_error": 0.07, "df": 6.0,
             "conf_low": 0.08, "conf_high": 0.14 + at / 200, "conf_level": 0.95, "measured_in": "%",
             "levels": item, "runs": 2} for at, item in enumerate([*whole, *levels])]  # fmt: skip
    return pd.DataFrame(rows)


def asking_interaction(brief):
    """The brief with an interaction of its first two factors asked for last, so that its means can be drawn."""
    asked = Comparison(brief.comparisons[-1].name, interaction=brief.factor_names[:2])
    return dataclasses.replace(brief, comparisons=(*brief.comparisons[:-1], asked))


def terms_of(brief):
    """Main effects and interactions of two, at most as many as a triangle holds."""
    names = list(brief.factor_names)
    pairs = [f"{one} × {other}" for at, one in enumerate(names) for other in names[at + 1 :]]
    return [*names, *pairs][:MOST_TERMS]


def triangle(brief):
    terms = terms_of(brief)
    rows = [{"term": one, "other": other, "correlation": (1.0, 0.0, 0.33)[(at + place) % 3]}
            for at, one in enumerate(terms) for place, other in enumerate(terms[at + 1 :])]  # fmt: skip
    return pd.DataFrame(rows)


def effects_of(brief, many):
    """Effects without repeats, the largest two standing out, with their aliases in the long case."""
    count = 15 if many else 7
    names = [*terms_of(brief), *[f"contrast {at}" for at in range(count)]][:count]
    sizes = [0.02 + 0.004 * at for at in range(count - 2)] + [0.3, 0.42]
    table = pd.DataFrame({
        "term": names, "aliases": [f"{NAMES[3]} × {NAMES[4]}" if many else None] * count, "size": sizes,
        "rank": range(1, count + 1), "place": [2.2 * (at + 0.5) / count for at in range(count)],
        "error_stratum": "run", "envelope_low": [0.01 * (at + 1) for at in range(count)],
        "envelope_middle": [0.014 * (at + 1) for at in range(count)],
        "envelope_high": [0.02 * (at + 1) for at in range(count)],
        "stands_out": ["within the margins"] * (count - 2) + ["beyond the margin of all effects"] * 2,
    })  # fmt: skip
    judged = pd.DataFrame([{"stratum": "run", "margin": 0.15, "simultaneous_margin": 0.25, "conf_level": 0.95}])
    return Made(table=table, judged_by=judged)


def residuals_of(many):
    count = 16 if many else 8
    return pd.DataFrame({
        "run_id": [f"R{at:02d}" for at in range(1, count + 1)],
        "fitted": [math.log(0.07 + 0.004 * at) for at in range(count)],
        "residual": [0.05 * ((3 * at) % 7 - 3) / 3 for at in range(count)], "studentised": [None] * count,
        "order": [float(at + 1) for at in range(count)], "build": [f"B{at // 4 + 1}" for at in range(count)],
        "combination": [""] * count,
    }, dtype=object)  # fmt: skip


def luck_of(brief):
    return pd.DataFrame([{"comparison": item.name, "campaigns": 4000, "true_pct": -30.0, "low_5_pct": -45.0,
                          "low_25_pct": -38.0, "high_75_pct": -20.0, "high_95_pct": 5.0, "seed": 11, "this_pct": -40.0}
                         for item in brief.comparisons])  # fmt: skip


def recorded_of(many):
    channel = CHANNEL[many]
    at = np.linspace(0.0, 100.0, 40)
    one = Made(
        shown=pd.DataFrame({"channel": channel, "at_h": at, "lowest": 97 + np.sin(at), "highest": 102 + np.sin(at),
                            "mean": 99.5 + np.sin(at)}),
        channels=pd.DataFrame([{"channel": channel, "low": 98.5, "high": 101.5, "mean": 99.5, "excursions": 1,
                                "inside_pct": 97.0, "furthest": 103.0}]),
        excursions=pd.DataFrame([{"channel": channel, "from_h": 20.0, "to_h": 25.0}]),
        sweeps=pd.DataFrame([{"number": 1, "counts": False, "torque_Nm": 180.0},
                             {"number": 2, "counts": True, "torque_Nm": 181.0}]),
        curves=pd.DataFrame({"number": [1, 1, 2, 2], "speed_rpm": [1500, 5500] * 2, "torque_Nm": [175, 160, 176, 161]}),
    )  # fmt: skip
    return {f"R{number:02d}": one for number in range(1, (9 if many else 2) + 1)}


def chart_of(many):
    count = 24 if many else 4
    rows = [{"place": at + 1, "run_id": f"R{at + 1:02d}", "build_id": f"B{at // 3}", "value": 20.0 + at % 3,
             "low": 17.0 if at > 1 else None, "high": 24.0 if at > 1 else None, "outside": at == 3,
             "smoothed": 0.1 * at if at > 1 else None, "smoothed_limit": 0.6, "smoothed_outside": at > 6}
            for at in range(count)]  # fmt: skip
    name = "wear_of_the_third_piston_ring_at_top_dead_centre_um" if many else "wear_um"
    finding = f"{name}, {count} reference runs: R04 lies outside its limits, and the level has moved up since R07"
    return Made(table=pd.DataFrame(rows, dtype=object), response=name, scale="log", conf_level=0.9973, finding=finding)


def drift_of(many):
    count = 18 if many else 3
    return Made(
        sessions=tuple(f"2026-03-{at + 1:02d} morning" if many else f"S{at + 1}" for at in range(count)),
        days=tuple(f"2026-03-{at + 1:02d}" for at in range(count)), master=Made(response=RESPONSE),
        sentence="bar-1040 of the metrology room, second shelf (elongation), 18 sessions: the gauge drifts by -0.002 % "
                 "in 30 days (-0.00215 to -0.00184)",
        drift=Made(off=np.linspace(0.0, -0.01, count), off_sd=np.full(count, 0.001), slope=-0.0001,
                   line=np.linspace(0.0, -0.01, count)),
    )  # fmt: skip


def traced(many):
    at = np.linspace(0.0, 10.0, 200)
    wear = np.where((at > 2) & (at < 8), 1.4, 0.0)
    rule = Traces("profile_um", "{part_id}.csv", ((0.0, 1.5), (8.5, 10.0)), worn=(2.0, 8.0))
    note = "the zones that do not wear differ by 4.1 µm, more than the wear; look at the settings" if many else ""
    return Made(rule=rule, run_id="R01", note=note, after=Made(height=np.sin(at), station_id="LOBE-INLET-1"),
                aligned=None if many else Made(position=at, wear=wear, scatter=0.05, shift=0.1, offset=0.2),
                taken=None if many else Made(value=1.4, std_error=0.03))  # fmt: skip


def account_of():
    at = np.array([0.0, 40.0, 80.0, 100.0])
    return Made(balance=Made(at_h=at, low_mg=1.0 * at, high_mg=1.2 * at + 1, plain_mg=1.1 * at + 0.5), note="")


def balance_of(many):
    rows = [{"run_id": f"R{at + 1:02d}", "element": "fe_ppm", "recovery_low": 0.6 + at / 10, "inside": at != 3,
             "recovery_high": 0.9 + at / 5} for at in range(24 if many else 3)]  # fmt: skip
    return Made(band=(0.2, 3.0), table=pd.DataFrame(rows, dtype=object))


def stations_of(many):
    rows = [{"run_id": f"R{run + 1:02d}", "part_id": "INV-1", "station_id": f"LOBE-INLET-{at + 1:02d}" if many else
             f"S{at + 1}", RESPONSE: 0.0123 * (1 + (run * at) % 5)}
            for run in range(8 if many else 2) for at in range(14 if many else 4)]  # fmt: skip
    return pd.DataFrame(rows)


def laid(brief, many):
    """Strata of a sixteenth of the seven factors, or of three builds of the two."""
    if not many:
        return factorial.full(brief, builds=3).strata
    plan = PlanChoice(design="two-level fraction", runs=16, builds=2, interactions_up_to=2)
    return chosen.main(dataclasses.replace(brief, plan=plan)).strata


def drawn(call, many):
    """The figure or axes of one picture, and the arguments it was drawn with."""
    brief = brief_of(many)
    module, _, name = call.partition(".")
    draw = getattr(import_module(f"toolkit.plot.{module}"), name)
    runs = runs_of(brief, many)
    response = {"response": RESPONSE}
    frame = example.comparisons(brief)
    both = asking_interaction(brief)
    valid = runs[runs["verdict"] == "valid"]
    given = {
        "plan.plan_map": ((runs, brief), {}),
        "strata_tree.strata_tree": ((laid(brief, many),), {}),
        "design.correlations": ((triangle(brief),), {}),
        "design.prediction": ((pd.DataFrame({"share": np.linspace(0, 1, 101), "variance": np.linspace(0.1, 0.8, 101)}),
                               "over the combinations of the levels"), {}),
        "scatter.scatter": ((example.scatter(brief), brief), response),
        "records.timeline": ((runs, brief), response),
        "station_map.station_map": ((stations_of(many), RESPONSE), {}),
        "means.means": ((means_of(brief, valid), valid, brief), response),
        "means.interaction": ((example.comparisons(both), means_of(both, valid), example.verdicts(both), both),
                              {"comparison": both.comparisons[-1].name}),
        "sides.sides": ((frame, means_of(brief, valid), valid, example.verdicts(brief), brief),
                        {"comparison": brief.comparisons[0].name}),
        "half_normal.half_normal": ((effects_of(brief, many), brief), response),
        "residuals.panel": ((residuals_of(many), brief), {**response, "sentences": ["odd run: R05 has the largest "
                                                                                    "residual"]}),
        "residuals.by_fitted": ((residuals_of(many), brief), response),
        "residuals.by_order": ((residuals_of(many), brief), response),
        "residuals.by_quantile": ((residuals_of(many), brief), response),
        "seeds.spread": ((luck_of(brief), brief), {}),
        "recorded.windows": ((recorded_of(many), CHANNEL[many]), {}),
        "recorded.sweeps": ((recorded_of(many),), {}),
        "reference_chart.reference_chart": ((chart_of(many),), {}),
        "master_drift.master_drift": ((drift_of(many),), {}),
        "trace_wear.trace_wear": ((traced(many),), {}),
        "oil_account.oil_account": ((account_of(), "R01", "fe_ppm"), {}),
        "metals.metals": (({f"R{at:02d}": account_of() for at in range(1, 10 if many else 3)}, "fe_ppm"), {}),
        "mass_balance.mass_balance": ((balance_of(many), "fe_ppm"), {}),
    }[call]  # fmt: skip
    return draw(*given[0], **given[1]), given


CALLS = [item.call for item in GALLERY]
# Their own tests draw them with two and seven comparisons, short and long names.
ELSEWHERE = {"effects.comparisons", "forecast.outcomes", "overview.overview", "promise.curves", "sizing.detectable",
             "together.together"}  # fmt: skip
TWO_ELSEWHERE = {"plan", "design", "scatter", "records", "means", "sides", "residuals"}


def cases():
    """Every picture with seven factors, and with two where its own tests do not draw it so already."""
    for call in CALLS:
        if call not in ELSEWHERE:
            yield pytest.param(call, True, id=f"{call}-seven")
            if call.partition(".")[0] not in TWO_ELSEWHERE:
                yield pytest.param(call, False, id=f"{call}-two")


@pytest.mark.parametrize(("call", "many"), list(cases()))
def test_no_text_lies_on_another_is_cut_or_is_too_small(call, many):
    made, _ = drawn(call, many)
    first = made[0] if isinstance(made, list) else made
    assert boxes.faults(first) == []
    # The finding of residual pictures stands over their panel.
    assert bool(boxes.title_of(first)) or call.startswith("residuals.by_")


def test_every_picture_stands_in_the_gallery_once_with_a_text_alternative():
    drawing = []
    for path, text in sources("toolkit/plot").items():
        module = path.rpartition("/")[2].removesuffix(".py")
        for node in ast.parse(text).body:
            styled = isinstance(node, ast.FunctionDef) and any(
                ast.unparse(item) == "look.styled" for item in node.decorator_list
            )
            if styled and not node.name.startswith("_"):
                drawing.append(f"{module}.{node.name}")
    assert sorted(CALLS) == sorted(drawing)
    assert len({item.name for item in GALLERY}) == len(GALLERY)
    for call in CALLS:
        module, _, name = call.partition(".")
        # The three pictures of residuals are told by the text of their panel.
        alt = "alt_panel" if module == "residuals" else f"alt_{name}"
        assert callable(getattr(import_module(f"toolkit.plot.{module}"), alt)), call


@pytest.mark.parametrize("item", GALLERY, ids=lambda item: item.call)
def test_an_entry_says_in_a_sentence_each_what_is_shown_and_how_it_is_misread(item):
    for text in (item.shows, item.misread):
        assert text.endswith(".") and 30 < len(text) < 160, text


def test_a_drift_downwards_has_the_minus_of_pictures_and_names_keep_their_hyphens():
    told = master_drift.alt_master_drift(drift_of(many=False))
    assert told.startswith(
        "bar-1040 of the metrology room, second shelf (elongation), 18 sessions: the gauge drifts by −0.002 % in 30 "
        "days (−0.00215 to −0.00184). Read off by session: S1 (2026-03-01) "
    )
    assert "−0.00215 to −0.00184" in " ".join(boxes.title_of(master_drift.master_drift(drift_of(many=False))).split())
