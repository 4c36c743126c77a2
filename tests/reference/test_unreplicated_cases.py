"""Effects without repeats on published data: filtration rate, reactor, bicycle."""

from dataclasses import replace

import pytest

from tests.reference.loader import close, load
from tests.unit.model.made import brief_of, runs_of
from toolkit.brief.model import PlanChoice
from toolkit.design import alias_words, base
from toolkit.design import terms as model_terms
from toolkit.model import comparisons, unreplicated
from toolkit.model.fit import fit
from toolkit.numeric import lenth


def judged(data, names, response):
    """The effects of two-level runs coded -1 and 1."""
    brief = brief_of(data, names, response, levels={name: ["-1", "1"] for name in names})
    return unreplicated.effects(fit(brief, runs_of(data, names, response), response), seed=4)


@pytest.mark.parametrize(
    "name, names, response, key",
    [
        ("k05-lenth-filtration-2x4", list("ABCD"), "rate", lambda term: term.replace(" × ", "")),
        ("k05-reactor-2x5", ["x1", "x2", "x3", "x4", "x5"], "y", lambda term: term.replace(" × ", "").replace("x", "")),
    ],
)
def test_effects_and_lenths_margins(name, names, response, key):
    case = load(name)
    made = judged(case.data, names, response)
    found = made.table.assign(key=made.table["term"].map(key)).set_index("key")
    assert set(found.index) == set(case.names("effects"))
    for term, row in found.iterrows():
        expected = case.expected(f"effects.{term}")
        assert row["effect"] == pytest.approx(expected, rel=1e-8, abs=1e-12)
        assert row["estimate"] == pytest.approx(expected * 2 ** (len(term) - 1), rel=1e-8, abs=1e-12)
        assert row["aliases"] == ""
    ((_, by),) = made.judged_by.iterrows()
    for ours, theirs in (
        ("effects", "m"),
        ("start", "s0"),
        ("pse", "pse"),
        ("lenth_df", "df"),
        ("lenth_margin", "me"),
        ("lenth_simultaneous_margin", "sme"),
    ):
        assert close(by[ours], case.expected(f"lenth.{theirs}"), case), ours
    one, every = lenth.margins(int(case.expected("lenth.m")))
    assert close(one, case.expected("lenth.t_me"), case) and close(every, case.expected("lenth.t_sme"), case)
    assert lenth.pseudo_error([case.expected(f"effects.{term}") for term in found.index]) == pytest.approx(
        (case.expected("lenth.pse"), case.expected("lenth.s0")), rel=1e-8
    )
    for margin, active in (("lenth_margin", "active_by_me"), ("lenth_simultaneous_margin", "active_by_sme")):
        ours = {term for term, row in found.iterrows() if row["size"] > by[margin]}
        assert ours == {case.text(f"lenth.{active}.{at}") for at in case.names(f"lenth.{active}")}
    for term in (name for name in case.printed if name.startswith("effects.")):
        assert abs(found.loc[term.split(".")[1], "effect"] - case.published(term)) <= case.published_abs(term)


def test_half_normal_places():
    case = load("k05-lenth-filtration-2x4")
    found = judged(case.data, list("ABCD"), "rate").table.sort_values("rank")
    assert [term.replace(" × ", "") for term in found["term"]] == [
        case.text(f"half_normal.order.{at}") for at in range(15)
    ]
    for at, (_, row) in enumerate(found.iterrows()):
        assert close(row["place"], case.expected(f"half_normal.quantile.{at}"), case)
        assert close(row["size"], case.expected(f"half_normal.abs_effect.{at}"), case)
    assert lenth.places(15) == pytest.approx(list(found["place"]), rel=1e-12)


def test_what_stands_out_by_drawn_margins():
    # Drawn margins are narrower than Lenth's t: what t calls active stays active (the case), ABD and B stay inert.
    case = load("k05-lenth-filtration-2x4")
    found = judged(case.data, list("ABCD"), "rate").table.set_index("term")
    out = found.index[found["stands_out"] == unreplicated.ALL]
    assert set(out) == {"A", "D", "A × C", "A × D"}
    assert list(found.index[found["stands_out"] == unreplicated.ONE]) == ["C"]


def test_the_bicycle_and_its_alias_chains():
    case = load("k05-bike-2-7-4-foldover")
    names, ours = [f"x{at}" for at in range(1, 8)], []
    for fraction, key in ((1, "effects_first"), (2, "effects_second")):
        data = case.data[case.data["fraction"] == fraction].reset_index(drop=True)
        made = judged(data, names, "y")
        found = made.table.set_index("term")
        assert list(found.index) == names
        for name in names:
            assert close(found.loc[name, "effect"], case.expected(f"{key}.{name}"), case)
        # Follow-up runs with the gear the other way round: its aliases change their sign, and so do those of others
        # that hold x4.
        chain = found.loc["x4", "aliases"]
        listed = [case.text(f"aliased_with_x4_first.{at}") for at in range(3)]
        sign = "" if fraction == 1 else "−"
        expected = " = ".join(sign + item.replace(":", " × ") for item in listed)
        assert chain == f"{expected} and 12 of more factors"
        assert any(note.startswith("a fraction: I = ") for note in made.notes)
        ours.append(found["effect"].astype(float).to_numpy())
    halves = {"half_sum": ours[0] + ours[1], "half_difference": ours[0] - ours[1]}
    for key, found in halves.items():
        expected = [case.expected(f"{key}.{name}") for name in names]
        assert found / 2 == pytest.approx(expected, rel=1e-8)


def planned(data, names, runs):
    """A brief whose design is the fraction of those runs."""
    brief = brief_of(data, names, "y", levels={name: ["-1", "1"] for name in names})
    return replace(brief, plan=PlanChoice("two-level fraction", runs=runs, replicates=1))


def test_the_bicycle_is_the_fraction_that_would_be_planned():
    case = load("k05-bike-2-7-4-foldover")
    data = case.data[case.data["fraction"] == 1]
    names = [f"x{number}" for number in range(1, 8)]
    brief = planned(data, names, 8)
    ours = {tuple(line) for line in base.lines(brief)}
    assert ours == {tuple(row) for row in data[names].astype(str).to_numpy()}
    fitted = fit(brief, runs_of(data, names, "y"), "y")
    found = comparisons.effects(fitted).set_index("term")
    for name in names:
        assert close(found.loc[name, "estimate"], case.expected(f"effects_first.{name}"), case)
        assert found.loc[name, "df"] is None
    lines = {model_terms.name_of(line.term): line for line in alias_words.of_strata(fitted.strata)}
    told = [":".join(other) for other, share in lines["x4"].others if share == 1.0]
    assert told == [case.text(f"aliased_with_x4_first.{at}") for at in case.names("aliased_with_x4_first")]
    apart = unreplicated.effects(fitted, seed=4).table.set_index("term")
    assert apart.loc["x4", "effect"] == pytest.approx(case.expected("effects_first.x4"))


def test_the_reactor_is_the_full_factorial_that_would_be_planned():
    case = load("k05-reactor-2x5")
    names = [f"x{number}" for number in range(1, 6)]
    brief = planned(case.data, names, 32)
    assert len(base.of_brief(brief).terms) == 31
    fitted = fit(brief, runs_of(case.data, names, "y"), "y")
    found = unreplicated.effects(fitted, seed=4).table
    for row in found.to_dict("records"):
        key = row["term"].replace(" × ", "").replace("x", "")
        assert row["effect"] == pytest.approx(case.expected(f"effects.{key}"), rel=1e-8, abs=1e-12)
    assert all(line.clear for line in alias_words.of_strata(fitted.strata))
