"""The runs that would settle a comparison, layout by layout."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit.model.made import INVENTED, brief_of, pin_by_oil, runs_of, simple
from toolkit import stamp
from toolkit.brief.model import Comparison, Family
from toolkit.errors import ModelError
from toolkit.model import settling
from toolkit.model.chances import chances
from toolkit.model.comparisons import comparisons
from toolkit.model.fit import fit
from toolkit.numeric import settling as numeric
from toolkit.numeric.promise import OUTCOMES

Y = "elongation_pct"
DATA = pin_by_oil(INVENTED)
ASKED = [simple("coating", "pin", "P1", "P0"), simple("new oil", "oil", "O1", "O0"),
         Comparison("needs", interaction=("pin", "oil"))]


def made(scale="log", worthwhile=20.0, **more):
    """The fit of the invented 2x2 in three builds."""
    more = {"block": "build", "comparisons": ASKED} | more
    brief = brief_of(DATA, ["pin", "oil"], Y, scale=scale, worthwhile=worthwhile, **more)
    return fit(brief, runs_of(DATA, ["pin", "oil"], Y, build="build"), Y)


def test_without_a_worthwhile_change_or_an_error():
    row = chances(made(worthwhile=None)).iloc[0]
    assert (row["worthwhile"], row["chance_worthwhile"], row["note"]) == (None, None, "no worthwhile change was stated")
    assert row["chance_gain"] == chances(made())["chance_gain"][0]
    data = DATA.iloc[:4]
    alone = fit(brief_of(data, ["pin", "oil"], Y, comparisons=ASKED[:1], worthwhile=0.01),
                runs_of(data, ["pin", "oil"], Y), Y)
    row = chances(alone).iloc[0]
    assert list(row[["chance_worthwhile", "chance_gain", "df"]]) == [None] * 3
    assert row["note"].startswith("no error estimate, so no interval and no test: repeat runs")
    assert settling.further(alone, "coating").empty
    (told,) = settling.settle(alone).to_dict("records")
    assert (told["settled"], told["added"]) == (None, None)
    assert told["sentence"] == f"coating: {row['note']}"


@pytest.mark.parametrize("adjust", ["none", "holm", "multivariate_t"])
def test_a_family_is_settled_at_the_error_rate_of_the_family(adjust):
    """Two comparisons judged together at alpha / 2 each: half-widths by Student's t, chances at 2.5 %."""
    members = [simple(item.name, *next(iter(item.of.items())), *item.against.values(), family="two")
               for item in ASKED[:2]]
    found = made(comparisons=members, families=[Family("two", adjust=adjust)])
    alpha = 0.05 if adjust == "none" else 0.025
    square, df = found.mean_squares["run"]
    row = settling.further(found, "coating", most=1).iloc[0]
    assert row["half_width"] == pytest.approx(stats.t.isf(alpha / 2, 9) * np.sqrt(square / 4), rel=1e-9)
    known = numeric.Known(-np.log(comparisons(found)["estimate"][0]), square, df, 1 / 3)
    expected = numeric.shares_then(known, 1 / 4, 9, -np.log(0.8), alpha=alpha)
    assert [row[name] for name in OUTCOMES] == pytest.approx(list(expected), abs=1e-9)


def test_further_builds_bring_what_the_formula_says():
    found = made()
    gain = -np.log(comparisons(found)["estimate"][0])
    square, df = found.mean_squares["run"]
    known = numeric.Known(gain, square, df, 1 / 3)
    table = settling.further(found, "coating", most=3)
    assert list(table["added"]) == [1, 2, 3] and list(table["added_runs"]) == [4, 8, 12]
    for row, builds in zip(table.to_dict("records"), (4, 5, 6), strict=True):
        expected = numeric.shares_then(known, 1 / builds, 3 * (builds - 1), -np.log(0.8))
        assert [row[name] for name in OUTCOMES] == pytest.approx(list(expected), abs=1e-9)
        half = stats.t.ppf(0.975, 3 * (builds - 1)) * np.sqrt(square / builds)
        assert (row["half_width"], row["df"]) == (pytest.approx(half, rel=1e-9), 3.0 * (builds - 1))
        settled = sum(expected[OUTCOMES.index(name)] for name in (
            "worthwhile gain", "worthwhile loss", "smaller than worthwhile"))
        assert row["chance_settled"] == pytest.approx(settled, abs=1e-9)
        alone = numeric.shares_then(known, 1 / builds, 3 * (builds - 1), None)
        assert row["chance_shown"] == pytest.approx(1 - alone[OUTCOMES.index("not known yet")], abs=1e-9)
    assert set(table["added_what"]) == {"complete build"}


def test_how_many_more_would_settle_it():
    found = made(worthwhile=22.0)
    table = settling.settle(found).set_index("comparison")
    row, every = table.loc["coating"], settling.further(found, "coating", most=24)
    gain = -np.log(comparisons(found)["estimate"][0])
    margin = -np.log(0.78)
    stays = next(line for line in every.to_dict("records") if gain - line["half_width"] > margin)
    assert (row["added_if_it_stays"], row["runs_if_it_stays"]) == (stays["added"], stays["added_runs"])
    enough = next((line for line in every.to_dict("records") if line["chance_settled"] >= 0.6), None)
    asked = settling.settle(found, chance=0.6).set_index("comparison").loc["coating"]
    assert (asked["added"], asked["runs"], asked["chance"]) == (
        enough["added"], enough["added_runs"], enough["chance_settled"])
    assert every["chance_settled"][enough["added"] - 2] < 0.6
    assert asked["sentence"] == (
        f"coating: {enough['added']} complete builds more ({enough['added_runs']} runs) would settle it against the "
        f"worthwhile change with a chance of {int(100 * enough['chance_settled'])} %. Runs that are added because of "
        f"what was seen leave the interval below its level, unless looks were planned.")
    never = settling.settle(found, chance=0.95, most=4).set_index("comparison").loc["coating"]
    best = settling.further(found, "coating", most=4)["chance_settled"].max()
    assert (never["added"], never["chance"], never["most_added"]) == (None, None, 4)
    assert never["sentence"].startswith(
        f"coating: no number up to 4 complete builds more settles it against the worthwhile change with a chance of "
        f"95 %; the best of them has {int(100 * best)} %. ")
    done = table.loc["needs"]
    assert (done["settled"], done["added"], done["chance"]) == (True, 0, None)
    assert done["sentence"] == "needs: settled against the worthwhile change: no more runs are needed for it"
    assert "NaN" not in stamp.canonical(stamp.records(settling.settle(found)))


def test_replicates_where_runs_are_randomised_and_sets_where_builds_are_units():
    alone = made(block=None)
    table = settling.further(alone, "coating", most=2)
    assert (table["added_what"][0], list(table["df"])) == ("replicate of every combination", [12.0, 16.0])
    draw = np.random.default_rng(2)
    lines = [(f"B{at}", f"P{at % 2}", oil) for at in range(6) for oil in ("O0", "O1")]
    data = pd.DataFrame(lines, columns=["build", "pin", "oil"]).assign(y=draw.normal(10, 1, size=12))
    asked = [*ASKED[:2], Comparison("both", of={"pin": "P1", "oil": "O1"}, against={"pin": "P0", "oil": "O0"})]
    brief = brief_of(data, ["pin", "oil"], "y", build_level=["pin"], comparisons=asked, worthwhile=1.0)
    units = fit(brief, runs_of(data, ["pin", "oil"], "y", build="build"), "y")
    for name, dfs in (("coating", [6.0, 8.0]), ("new oil", [6.0, 8.0])):
        table = settling.further(units, name, most=2)
        assert (list(table["df"]), list(table["added_runs"])) == (dfs, [4, 8])
        assert table["added_what"][0] == "set of builds"
    assert settling.further(units, "both", most=2).empty
    row = settling.settle(units).set_index("comparison").loc["both"]
    assert (row["settled"], row["added"]) == (None, None)
    assert row["sentence"] == "both: judged in two strata: how many more runs would settle it is not worked out"


def test_an_unknown_comparison_is_named():
    with pytest.raises(ModelError) as refused:
        settling.further(made(), "coat")
    assert str(refused.value) == (
        "comparison 'coat': there is no such comparison; expected 'coating', 'new oil' or 'needs'.")
