"""The chance that the true change is at least the worthwhile one, against scipy's t distribution."""

import numpy as np
import pytest
from scipy import stats

from tests.unit.model.test_settling import made
from toolkit.model.chances import chances
from toolkit.model.comparisons import comparisons


@pytest.mark.parametrize("better, sign", [("smaller", -1.0), ("larger", 1.0)])
def test_chances_are_shares_of_the_t_distribution(better, sign):
    found = made(better=better)
    margin = -np.log(0.8) if better == "smaller" else np.log(1.2)
    table = chances(found).set_index("comparison")
    answers = comparisons(found).set_index("comparison")
    for name, row in table.iterrows():
        gain, error = sign * np.log(answers.loc[name, "estimate"]), answers.loc[name, "std_error"]
        law = stats.t(6, gain, error)
        for column, expected in (("worthwhile", margin), ("chance_worthwhile", law.sf(margin)),
                                 ("chance_gain", law.sf(0.0)), ("chance_worthwhile_loss", law.cdf(-margin)),
                                 ("chance_between", law.cdf(margin) - law.cdf(-margin))):
            assert row[column] == pytest.approx(expected, rel=1e-9), column
        assert (row["df"], row["note"]) == (6.0, "")


def test_a_limit_at_the_worthwhile_change_is_a_chance_of_the_level():
    # The lower limit at 95 % is where the chance is 97.5 %.
    low = 100.0 * (1.0 - comparisons(made()).set_index("comparison").loc["coating", "conf_high"])
    assert chances(made(worthwhile=low))["chance_worthwhile"][0] == pytest.approx(0.975, rel=1e-9)
