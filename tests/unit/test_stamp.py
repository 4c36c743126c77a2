"""Rows of a frame as plain values: those of pandas, whatever the columns hold."""

import re
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from toolkit import stamp

FRAMES = {
    "numbers": pd.DataFrame({"a": [1, 2], "b": [0.5, np.nan], "c": [True, False]}),
    "text": pd.DataFrame({"a": ["x", "ü"], "b": [None, "y"]}),
    "mixed": pd.DataFrame({"a": [np.float64(1.5), None, "x", (1, 2)], "b": [np.int64(3), np.bool_(True), [1], {}]}),
    "levels": pd.DataFrame({"a": pd.Categorical(["x", "y", "x"]), "when": pd.to_datetime(["2026-01-02"] * 3)}),
    "no rows": pd.DataFrame({"a": [], "b": []}),
    "no columns": pd.DataFrame(index=range(2)),
}


@pytest.mark.parametrize("name", FRAMES)
def test_rows_are_those_of_pandas(name):
    frame = FRAMES[name]
    made, beside = stamp.rows(frame), frame.to_dict("records")
    assert repr(made) == repr(beside)
    assert [[type(value) for value in row.values()] for row in made] == [
        [type(value) for value in row.values()] for row in beside
    ]
    assert stamp.records(frame) == [stamp.plain(row) for row in frame.astype(object).to_dict("records")]


def test_every_package_of_the_stamp_is_loaded_somewhere():
    folder = Path(stamp.__file__).parent
    lines = {line.strip() for path in folder.rglob("*.py") for line in path.read_text("utf-8").splitlines()}
    loaded = {line.split()[1].split(".")[0] for line in lines if re.match(r"(import|from) \w", line)}
    assert set(stamp.PACKAGES) - {"wearbook"} - loaded == set()
    assert {"matplotlib", "openpyxl"} <= set(stamp.versions())
