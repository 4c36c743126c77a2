"""Gauge studies against published worked examples."""

from __future__ import annotations

import pandas as pd
import pytest

from tests.reference.loader import close, load
from toolkit.errors import ModelError
from toolkit.model import gauge_study
from toolkit.numeric import round_robin

NAMES = {"part": gauge_study.PART, "operator": gauge_study.OPERATOR, "interaction": gauge_study.BOTH,
         "repeatability": gauge_study.READING}  # fmt: skip


def readings():
    data = load("k12-gauge-rr-anova").data
    return pd.DataFrame({"part_id": data["part"], "operator": data["operator"], "value": data["y"]})


def test_analysis_of_variance_of_ten_parts_and_three_operators():
    case = load("k12-gauge-rr-anova")
    found = gauge_study.study(readings())
    table = found.anova.set_index("source")
    assert found.layout == "crossed"
    for key, name in NAMES.items():
        for column in ("df", "ss", "ms"):
            assert close(float(table.at[name, column]), case.expected(f"anova.{key}.{column}"), case), (key, column)
        assert table.at[name, "ss"] == pytest.approx(case.published(f"anova.{key}.ss"), abs=1e-4), key
    for key in ("part", "operator"):
        assert close(float(table.at[NAMES[key], "F"]), case.expected(f"anova.{key}.F_vs_interaction"), case), key
    assert close(float(table.at[NAMES["interaction"], "F"]), case.expected("anova.interaction.F"), case)


@pytest.mark.parametrize(("kept", "prefix"), [(True, "with_interaction"), (False, "interaction_pooled")])
def test_components_with_the_interaction_kept_and_pooled(kept, prefix):
    case = load("k12-gauge-rr-anova")
    found = gauge_study.study(readings(), interaction=kept)
    for key, name in {**NAMES, "grr": gauge_study.GAUGE, "total": gauge_study.TOTAL}.items():
        assert close(found.variance(name), case.expected(f"{prefix}.var_{key}"), case), key
    table = found.table.set_index("source")
    for key, name in {"repeatability": "reading", "grr": "gauge", "part": "part", "total": "total"}.items():
        assert close(float(table.at[name, "sd"]), case.expected(f"{prefix}.sd.{key}"), case), key
        if not kept and key != "total":
            printed = case.published(f"{prefix}.sd.{key}")
            assert table.at[name, "sd"] == pytest.approx(printed, abs=case.published_abs(f"{prefix}.sd.{key}")), key
    assert close(float(table.at["gauge", "share_pct"]), case.expected(f"{prefix}.pct_contribution_grr"), case)


GLUCOSE = load("k12-repeatability-reproducibility-glucose")


def of_material(data, number):
    mine = data[data["material"] == number]
    return round_robin.precision(mine["y"], mine["lab"].tolist())


@pytest.mark.parametrize(
    ("frame", "number", "prefix"),
    [*(("data", number, f"corrected.{number}") for number in range(1, 6)), ("data_as_filed", 3, "as_filed_material_3")],
)
def test_precision_of_glucose_in_eight_laboratories(frame, number, prefix):
    found = of_material(GLUCOSE.frames[frame], number)
    pairs = {"mean": found.mean, "s_xbar": found.sd_of_means, "s_r": found.repeatability_sd, "s_L": found.between_sd,
             "s_R": found.reproducibility_sd, "r_2.8": found.repeatability_limit,
             "R_2.8": found.reproducibility_limit}  # fmt: skip
    for key, value in pairs.items():
        assert close(value, GLUCOSE.expected(f"{prefix}.{key}"), GLUCOSE), key
    for at, lab in enumerate(found.groups):
        assert close(found.h[at], GLUCOSE.expected(f"{prefix}.h.{lab}"), GLUCOSE), lab
        assert close(found.k[at], GLUCOSE.expected(f"{prefix}.k.{lab}"), GLUCOSE), lab
    if prefix.startswith("corrected"):
        for key in ("mean", "s_r", "s_R"):
            printed = GLUCOSE.published(f"{prefix}.{key}")
            assert pairs[key] == pytest.approx(printed, abs=GLUCOSE.published_abs(f"{prefix}.{key}")), key


def test_a_mistyped_figure_stands_out_by_k():
    found = of_material(GLUCOSE.frames["data_as_filed"], 3)
    # ASTM E691: the critical k of 8 laboratories and 3 figures at 0.5 % is 2.06, from memory.
    assert found.groups[int(found.k.argmax())] == 4 and found.k.max() > 2.06


def test_what_has_no_precision_is_told():
    with pytest.raises(ModelError) as caught:
        round_robin.precision([1.0, 2.0, 3.0], ["a", "a", "b"])
    assert str(caught.value) == (
        "The precision cannot be worked out.\n  figures of a group: [1, 2]; expected as many in each, two at least."
    )
    with pytest.raises(ModelError, match="groups: 1; expected two laboratories or batches at least"):
        round_robin.precision([1.0, 2.0], ["a", "a"])
    same = round_robin.precision([1.0, 1.0, 1.0, 1.0], ["a", "a", "b", "b"])
    assert (same.reproducibility_sd, same.h.tolist(), same.k.tolist()) == (0.0, [0.0, 0.0], [0.0, 0.0])
