"""Registers: codes that tell nothing, parts allotted at random and repeatably, hours that fit the run."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from tests.unit import briefs
from tests.unit.running.material import chain, runs_of
from toolkit.brief.model import Protocol
from toolkit.errors import DesignError
from toolkit.running.register import extended, register, station_ids


def test_every_run_has_a_part_of_its_kind_and_every_kind_a_spare():
    brief = chain()
    runs = runs_of(brief)
    parts = register(brief, runs, seed=1).parts
    assert list(parts.columns) == ["part_id", "run_id", "pin", "stations", "spare", "batch", "serial"]
    fitted = parts[parts["spare"] == "no"].set_index("run_id")["pin"]
    assert fitted.to_dict() == runs.set_index("run_id")["pin"].to_dict()
    spares = parts[parts["spare"] == "yes"]
    assert sorted(spares["pin"]) == ["P0", "P1"]
    assert set(spares["run_id"]) == {""}
    assert parts["part_id"].is_monotonic_increasing and parts["part_id"].is_unique
    assert set(parts["stations"]) == {"SEG01 to SEG10"}
    assert set(parts["serial"]) == set(parts["batch"]) == {""}


def test_samples_stand_at_the_hours_asked_for():
    brief = chain()
    made = register(brief, runs_of(brief), seed=1).samples
    assert list(made.columns) == ["sample_id", "run_id", "at_h", "oil_drum"]
    assert made["at_h"].tolist() == ["0", "100"] * 12
    made = register(brief, runs_of(brief), seed=1, hours=(40, 0, 12.5)).samples
    assert made["at_h"].tolist() == ["0", "12.5", "40"] * 12
    assert made["sample_id"].is_unique
    assert register(briefs.blocked(), runs_of(briefs.blocked()), seed=1).samples.empty


@pytest.mark.parametrize(
    ("hours", "message"),
    [
        ((0, 102), "The oil samples are asked for at 0, 102 h; expected hours from 0 to 101."),
        ((-1, 0), "The oil samples are asked for at -1, 0 h; expected hours from 0 to 101."),
        ((), "The oil samples are asked for at no h; expected hours from 0 to 101."),
        ((float("nan"),), "The oil samples are asked for at nan h; expected hours from 0 to 101."),
        (
            (20, 100),
            "The oil samples are asked for at 20, 100 h, but the increase of fe_ppm needs the sample at 0 h and a "
            "later one. Add them.",
        ),
    ],
)
def test_hours_that_do_not_fit_are_refused(hours, message):
    brief = chain()
    with pytest.raises(DesignError) as told:
        register(brief, runs_of(brief), seed=1, hours=hours)
    assert str(told.value) == message


def test_a_run_of_unknown_length_needs_hours():
    brief = replace(chain(), protocol=Protocol())
    with pytest.raises(DesignError) as told:
        register(brief, runs_of(brief), seed=1)
    assert str(told.value) == (
        "The brief does not say how long a run lasts ([protocol] run_time_h), so the last oil sample has no hour. "
        "Add it, or give the hours of all samples."
    )
    assert len(register(brief, runs_of(brief), seed=1, hours=(0, 50)).samples) == 24


def test_the_same_seed_gives_the_same_and_phases_share_no_code():
    brief = chain()
    main, pilot = runs_of(brief), runs_of(brief, "pilot")
    pd.testing.assert_frame_equal(register(brief, main, seed=3).parts, register(brief, main, seed=3).parts)
    pd.testing.assert_frame_equal(register(brief, main, seed=3).samples, register(brief, main, seed=3).samples)
    assert not register(brief, main, seed=3).parts.equals(register(brief, main, seed=4).parts)
    for seed in range(30):
        one, other = register(brief, main, seed=seed), register(brief, pilot, seed=seed)
        codes = [*one.parts["part_id"], *one.samples["sample_id"], *other.parts["part_id"], *other.samples["sample_id"]]
        assert len(set(codes)) == len(codes)


def test_codes_are_neither_words_nor_numbers_nor_names_of_the_brief():
    brief = briefs.blocked(factors=(briefs.factor("BC", "W2", "X3"), briefs.factor("oil", "22", "33", undo="fill")))
    brief = replace(brief, comparisons=(), pilot=None)
    runs = runs_of(brief)
    codes = [code for seed in range(40) for code in register(brief, runs, seed=seed).parts["part_id"]]
    assert [code for code in codes if not re.fullmatch("[BCDFGHJKMNPQRTVWXYZ]{2}[2-9]{3}", code)] == []
    assert [code for code in codes if any(name in code for name in ("BC", "W2", "X3", "22", "33"))] == []


def test_parts_are_allotted_at_random():
    # Four runs of one kind of part and a spare: each of the five is as likely to get the first code on the shelf.
    # Chi-square with 4 df: 18.467 is exceeded with probability 0.001 (NIST/SEMATECH e-Handbook, 1.3.6.7.4).
    brief = briefs.blocked(factors=(briefs.factor("oil", "O0", "O1", undo="fill"),), comparisons=(), pilot=None)
    runs = runs_of(brief).head(4)
    seeds = 500
    first = [register(brief, runs, seed=seed).parts["run_id"].iloc[0] for seed in range(seeds)]
    counts = pd.Series(first).value_counts()
    assert sorted(counts.index) == ["", *runs["run_id"]]
    assert float(((counts - seeds / 5) ** 2 / (seeds / 5)).sum()) < 18.467


def test_codes_sort_neither_by_treatment_nor_by_order():
    brief = chain()
    runs = runs_of(brief)
    seeds = 300
    first_coated, with_order = [], []
    for seed in range(seeds):
        made = register(brief, runs, seed=seed)
        fitted = made.parts[made.parts["spare"] == "no"]
        first_coated.append(fitted["pin"].iloc[0] == "P1")
        order = fitted["run_id"].str[1:].astype(int).to_numpy()
        with_order.append(np.corrcoef(np.arange(12), order)[0, 1])
    # A fair coin within 3.29 standard errors (two-sided 0.001), and a correlation with mean 0 and SD 1/sqrt(11).
    assert abs(np.mean(first_coated) - 0.5) < 3.29 * np.sqrt(0.25 / seeds)
    assert abs(np.mean(with_order)) < 3.29 / np.sqrt(11 * seeds)


def test_stations_have_the_kind_and_a_number():
    assert station_ids(chain()) == {"segment": tuple(f"SEG{n:02d}" for n in range(1, 11))}


def test_an_amended_run_list_keeps_codes_and_gets_new_ones_for_new_runs():
    brief = chain()
    runs = runs_of(brief)
    before = register(brief, runs, seed=1)
    more = pd.concat([runs, runs.iloc[[4]].assign(run_id="R13")], ignore_index=True)
    made = extended(before, more, brief, seed=[1, 1, 1, 2])
    again = extended(before, more, brief, seed=[1, 1, 1, 2])
    pd.testing.assert_frame_equal(made.parts, again.parts)
    assert not made.parts.equals(extended(before, more, brief, seed=[1, 1, 2, 2]).parts)
    pd.testing.assert_frame_equal(
        made.parts[made.parts["run_id"] != "R13"].reset_index(drop=True), before.parts.reset_index(drop=True)
    )
    assert made.parts["part_id"].is_monotonic_increasing and made.parts["part_id"].is_unique
    new = made.parts[made.parts["run_id"] == "R13"].iloc[0]
    assert (new["pin"], new["spare"]) == (runs["pin"][4], "no")
    pd.testing.assert_frame_equal(made.samples.iloc[:24], before.samples)
    assert list(made.samples["run_id"][24:]) == ["R13", "R13"]
    assert not set(made.samples["sample_id"][24:]) & set(before.samples["sample_id"])


def test_parts_of_runs_that_are_not_made_any_more_become_spares():
    brief = chain()
    runs = runs_of(brief)
    before = register(brief, runs, seed=1)
    made = extended(before, runs.drop(index=[11]), brief, seed=[1, 1, 1, 2])
    code = before.parts.set_index("run_id").at["R12", "part_id"]
    assert made.parts.set_index("part_id").loc[code, ["run_id", "spare"]].tolist() == ["", "yes"]
    assert list(made.parts["part_id"]) == list(before.parts["part_id"])
    assert "R12" not in set(made.samples["run_id"])


def test_a_kind_of_part_that_is_new_gets_a_spare():
    brief = chain()
    runs = runs_of(brief)
    before = register(brief, runs, seed=1)
    more = replace(brief, factors=(briefs.factor("pin", "P0", "P1", "P2"), *brief.factors[1:]))
    table = pd.concat([runs, runs.iloc[[0]].assign(run_id="R13", pin="P2")], ignore_index=True)
    made = extended(before, table, more, seed=[1, 1, 1, 2]).parts
    assert sorted(made[made["spare"] == "yes"]["pin"]) == ["P0", "P1", "P2"]
    assert len(made) == len(before.parts) + 2


def test_new_codes_are_even_over_their_letters():
    # The second letter of a code is one of 19, all equally likely; chi-square over many draws.
    brief = chain()
    runs = runs_of(brief)
    before = register(brief, runs, seed=1)
    table = pd.concat([runs, runs.assign(run_id=[f"R{at}" for at in range(13, 25)])], ignore_index=True)
    letters = []
    for seed in range(40):
        parts = extended(before, table, brief, seed=[seed, 1, 1, 2]).parts
        letters += [code[1] for code in parts[parts["run_id"] > "R12"]["part_id"]]
    counts = pd.Series(letters).value_counts().reindex(list("BCDFGHJKMNPQRTVWXYZ"), fill_value=0)
    assert stats.chisquare(counts).pvalue > 1e-4
