"""The viscosity of the oil of each run at the temperature of its sump; every amount INVENTED."""

from __future__ import annotations

import io
from dataclasses import replace

import pandas as pd
import pytest

from tests.unit.intake import material
from toolkit.brief import checks
from toolkit.brief.model import Covariate, Oil, OilCard, Response
from toolkit.errors import ModelError
from toolkit.intake import columns, oil_viscosity, records


def oil_faults(brief):
    """The faults of [oil]; the rest of the brief is none to plan by."""
    return [str(item) for item in checks.check(brief) if item.where.startswith("[oil]")]


def test_the_covariate_is_worked_out_and_asked_for_nowhere():
    brief = material.brief(
        oil=Oil(4.3, viscosity_at="sump_temp_degC"), covariates=(Covariate("sump_viscosity_mm2_s"),),
        oil_cards=(OilCard("current", {}, {}, kv40_mm2_s=62.0, kv100_mm2_s=11.0),),
    )  # fmt: skip
    assert oil_faults(brief) == []
    runs = pd.read_csv(io.StringIO(material.RUNS))
    found = records.from_tables(brief, runs=runs).runs.set_index("run_id")["sump_viscosity_mm2_s"]
    # 100.1, 100.0, 99.8 degrees by the form of ASTM D341; R06 is not run.
    assert found[["P01", "R01", "R02"]].round(3).tolist() == [10.977, 11.0, 11.046]
    assert pd.isna(found["R06"]) and columns.covariates(brief) == ()
    without = replace(brief, covariates=(), held=())
    assert oil_faults(without) == [
        "[oil] viscosity_at: 'sump_temp_degC' is no held temperature; expected a variable of [held] that ends in "
        "_degC.",
        "[oil] viscosity_at: nothing that it is worked out for; expected a [[covariate]] with the name "
        "'sump_viscosity_mm2_s'.",
    ]
    bare = replace(brief, oil_cards=(OilCard("current"),))
    assert oil_faults(bare) == [
        "[oil] viscosity_at: cards without viscosities; expected kv40_mm2_s and kv100_mm2_s in every [[oil_card]]."
    ]


def test_each_run_by_the_card_of_its_oil():
    brief = material.brief(
        responses=(Response("fe_ppm"),),
        oil_cards=(OilCard("current", {"pin": "P0"}, {}, kv40_mm2_s=62.0, kv100_mm2_s=11.0),),
    )
    runs = pd.DataFrame({"run_id": ["R1", "R2", "R3", "R4"], "pin": ["P0", "P0", "P1", "P0"],
                         "sump_temp_degC": [97.0, None, 100.0, 110.0]})  # fmt: skip
    found, told = oil_viscosity.of_runs(brief, runs, "sump_temp_degC")
    # The figures worked by hand in tests/unit/numeric/test_viscosity.py.
    assert found.round(2).fillna(-1).tolist() == [11.72, -1, -1, 9.02]
    assert (found.name, len(told)) == ("sump_viscosity_mm2_s", 1)
    assert (told[0]["run_id"], told[0]["found"], told[0]["action"]) == (
        "R3", "100 °C", "none is told: no [[oil_card]] with kv40_mm2_s and kv100_mm2_s for its oil"
    )  # fmt: skip
    with pytest.raises(ModelError, match=r"runs: no column gallery_degC; expected the column of the sump's"):
        oil_viscosity.of_runs(brief, runs, "gallery_degC")
