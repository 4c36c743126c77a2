"""Which pictures of responses against each other are shown, and which are left to the table."""

from types import SimpleNamespace

import pandas as pd

from tests.unit.plot import test_together as example
from toolkit.report import together_figures


def analysis(rows, other=example.OTHER):
    """An analysis that has these rows of agreement, INVENTED."""
    fit = SimpleNamespace(runs=example.RUNS)
    answered = {
        name: SimpleNamespace(fit=fit, checks=SimpleNamespace(residuals=frame))
        for name, frame in (("elongation_pct", example.ONE), ("fe_ppm", other))
    }
    return SimpleNamespace(brief=example.brief(), responses=answered, agreement=pd.DataFrame(rows, dtype=object))


def test_the_primary_response_stands_against_the_other_with_its_words():
    ((_, alt, caption),) = together_figures.figures(analysis([example.ROW]))
    assert caption == "Run by run, elongation and Fe"
    assert alt.startswith(example.FINDING)


def test_pairs_without_the_primary_one_or_without_a_correlation_are_left_to_the_table():
    second = example.ROW | {"response": "fe_ppm", "other": "elongation_pct"}
    untold = example.ROW | {"correlation": None}
    assert list(together_figures.figures(analysis([second, untold]))) == []


def test_rows_of_positions_are_not_set_against_rows_of_runs():
    positions = example.OTHER.assign(run_id=[f"{run}/cyl 1" for run in example.OTHER["run_id"]])
    assert list(together_figures.figures(analysis([example.ROW], positions))) == []
