"""What is not there shows as an empty cell."""

import pandas as pd

from toolkit.wording import filled


def test_a_shown_table_has_empty_cells_for_what_it_does_not_hold():
    given = pd.DataFrame({"sd": [0.5, float("nan")], "df": pd.array([3, None], dtype=object), "note": [None, "pilot"]})
    assert filled(given).values.tolist() == [[0.5, 3, ""], ["", "", "pilot"]]
    assert "None" not in filled(given).to_html() and "NaN" not in filled(given).to_string()
    # The table itself stays as it is.
    assert given["note"].isna().tolist() == [True, False]
