"""The viscosity of the oil of each run at the temperature of its sump; every amount INVENTED."""

from __future__ import annotations

import pandas as pd
import pytest

from tests.unit.intake import material
from toolkit.brief.model import OilCard, Response
from toolkit.errors import ModelError
from toolkit.intake import oil_viscosity


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
