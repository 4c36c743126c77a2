"""The toolkit's model and the demo's own analyses, written apart, say the same of the same records."""

import numpy as np
import pandas as pd
import pytest

from tests.demo.make_data import DATA, brief_of, planned, spread_over_1000_seeds
from toolkit.decide import verdict
from toolkit.demo import generator, oracle, scenarios
from toolkit.intake import records
from toolkit.model import comparisons
from toolkit.model.fit import fit

BRIEF = brief_of("chain-soot")
CONTRASTS = np.array([oracle.weights(BRIEF, item) for item in BRIEF.comparisons])


def agree(table: pd.DataFrame, made: oracle.Estimates, place: int = 0) -> None:
    """Estimates, standard errors, df, p-values and limits of a table against the oracle's."""
    low, high = made.limits(0.95)
    assert (table["df"].astype(float) == made.df).all()
    for column, values in (
        ("estimate", np.exp(made.estimate)),
        ("std_error", made.std_error),
        ("p_value", made.p_value),
        ("conf_low", np.exp(low)),
        ("conf_high", np.exp(high)),
    ):
        np.testing.assert_allclose(table[column].astype(float), values[place], rtol=1e-8, err_msg=column)


def test_on_complete_blocks_drawn_by_the_generator():
    layout = generator.layout_of(BRIEF, planned(BRIEF)[1:])
    cells = oracle.cells_of(BRIEF, layout.runs)
    drawn = generator.simulate(scenarios.CHAIN.truths[0], layout, 5, np.random.default_rng(1), shuffle=True)
    ordered = np.lexsort((cells, layout.build))
    made = oracle.balanced(np.log(drawn.run_values[:, ordered]).reshape(5, 3, 4), CONTRASTS)
    for place in range(5):
        runs = layout.runs.assign(elongation_pct=drawn.run_values[place], verdict="valid", reason="", role="")
        table = comparisons.comparisons(fit(BRIEF, runs, "elongation_pct"))
        assert list(table["comparison"]) == [item.name for item in BRIEF.comparisons]
        agree(table, made, place)


@pytest.mark.parametrize("response", ["elongation_pct", "fe_ppm"])
def test_on_the_bundled_records_with_a_void_run(response):
    runs = records.read(DATA / "chain-soot", BRIEF).runs
    used = runs[(runs["phase"] == "main") & (runs["verdict"] == "valid")]
    made = oracle.least_squares(
        np.log(used[response].to_numpy(dtype=float))[None],
        oracle.cells_of(BRIEF, used),
        pd.factorize(used["build_id"])[0],
        CONTRASTS,
    )
    assert made.df == 5
    agree(comparisons.comparisons(fit(BRIEF, runs, response)), made)


def test_the_six_names_and_their_rule_are_those_of_the_verdicts():
    runs = records.read(DATA / "chain-soot", BRIEF).runs
    table = comparisons.comparisons(fit(BRIEF, runs, "elongation_pct"))
    told = verdict.verdicts(table, BRIEF)
    by_seed = spread_over_1000_seeds().by_seed
    mine = by_seed[by_seed["seed"] == oracle.TEACHING_SEED]
    assert list(told["comparison"]) == list(mine["comparison"])
    assert list(told["verdict"]) == list(mine["verdict"])
    assert list(mine["verdict"]) == [
        "gain, size not settled",
        "not known yet",
        "worthwhile gain",
        "not known yet",
    ]
