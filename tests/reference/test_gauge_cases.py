"""Gauge studies against published worked examples."""

from __future__ import annotations

import pandas as pd
import pytest

from tests.reference.loader import close, load
from toolkit.model import gauge_study

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
