"""No module of plot/ makes an estimate: no means, no fits, no error bars of a plotting library."""

import ast

import pytest

from tests.house.tree import calls, sources

# Of seaborn: whatever averages or fits by itself. Of numpy and pandas: whatever turns runs into estimates.
ESTIMATES = {"barplot", "pointplot", "regplot", "lmplot", "lineplot", "relplot", "catplot", "boxplot", "violinplot"}
ESTIMATES |= {"mean", "std", "var", "sem", "median", "quantile", "polyfit", "lstsq", "average", "groupby_mean"}


def estimates(tree):
    """Every call that would make an estimate."""
    found = []
    for call, name in calls(tree):
        last = name.rpartition(".")[2]
        if "." in name and last in ESTIMATES:
            found.append(f"line {call.lineno}: {name}()")
        found += [
            f"line {call.lineno}: errorbar="
            for item in call.keywords
            if item.arg == "errorbar" and not (isinstance(item.value, ast.Constant) and item.value.value is None)
        ]
    return found


def test_pictures_take_results_and_never_estimate():
    files = sources("toolkit/plot")
    assert {path: estimates(ast.parse(text)) for path, text in files.items()} == {path: [] for path in files}


@pytest.mark.parametrize(
    "text", ["seaborn.barplot(x=1)", "frame.mean()", "np.std(x)", "sns.stripplot(x=1, errorbar='sd')"]
)
def test_an_estimate_is_found(text):
    assert len(estimates(ast.parse(text))) == 1
