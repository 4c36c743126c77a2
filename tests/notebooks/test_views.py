"""What notebooks show has a text form that can be read too, and holds no path of the machine."""

import re

import pytest

from tests.unit import briefs
from toolkit import stamp
from toolkit.brief.model import Response
from toolkit.campaign import log, reported, steps, storage
from toolkit.demo import bundled
from toolkit.report import steps as report_steps
from toolkit.report import tables, view, view_records


@pytest.fixture(scope="module")
def campaign(tmp_path_factory):
    """The bundled campaign with all its records, both phases sealed."""
    c = bundled.bring("chain-soot", tmp_path_factory.mktemp("views"), phases=("pilot", "main"))
    steps.plan(c, phase="pilot")
    steps.plan(c, phase="main")
    return c


@pytest.fixture(scope="module")
def analysis(campaign):
    """Its analysis."""
    return steps.analyse(campaign)


def test_a_shown_table_reads_line_by_line():
    table = tables.plain("Oils", ("oil", "wear"), [("O0 & <b>", "1.5"), ("O1", "–")], ("wear",))
    assert repr(view.Shown(["before", table, "after"])) == (
        "before\nOils\noil | wear\nO0 & <b> | 1.5\nO1 | –\nafter"
    )


def test_words_go_left_and_numbers_stay_right():
    table = tables.plain("Oils", ("oil", "wear"), [("O0", "1.5")], ("wear",))
    html = view.Shown([table])._repr_html_()
    assert '<caption style="text-align: left">Oils</caption>' in html
    assert '<th scope="row" style="text-align: left">O0</th>' in html
    assert '<td class="n" style="white-space:nowrap">1.5</td>' in html


def test_the_question_tells_worthwhile_changes_as_the_verdicts_will():
    text = repr(view.question(briefs.blocked()))
    assert "coating | pin P1 against pin P0, mean over oil | 20 % less elongation | alone" in text
    assert "| ratio of ratios 0.8 or 1.25 for elongation | alone" in text
    larger = briefs.blocked(responses=(Response("pressure_kPa", better="larger", worthwhile_change_pct=20.0),))
    # Larger is better: 20 per cent more, as the brief says and as the verdict does.
    assert "mean over oil | 20 % more pressure | alone" in repr(view.question(larger))
    linear = Response("torque_Nm", scale="linear", worthwhile_change=0.5)
    asked = repr(view.question(briefs.blocked(responses=(linear,))))
    assert "0.5 N·m less torque" in asked
    assert "difference of differences 0.5 N·m for torque" in asked


# A report is told by where it lies and by its analysis; its page is no matter here.
MADE = {
    "check": lambda c, found: steps.check(c),
    "size": lambda c, found: steps.size(c),
    "plan": lambda c, found: steps.plan(c, phase="main"),
    "analyse": lambda c, found: found,
    "report": lambda c, found: report_steps.Reported(reported.path_of(c), found),
}


@pytest.mark.parametrize("verb", MADE)
def test_results_have_a_short_text_form_without_a_path(campaign, analysis, verb):
    text = repr(MADE[verb](campaign, analysis))
    assert 50 < len(text) < 3000
    assert str(campaign.folder) not in text
    assert not re.search(r"\bBrief\(|object at 0x", text)


def test_the_text_form_of_an_analysis_is_its_headline_and_sentences(analysis):
    lines = repr(analysis).splitlines()
    assert lines[0] == "campaign 'chain-soot', 11 of 12 runs valid, 1 invalid"
    assert lines[1] == "elongation_pct"
    told = analysis.responses["elongation_pct"].verdicts["sentence"].tolist()
    assert lines[2:6] == [f"  {sentence}" for sentence in told]


@pytest.fixture(scope="module")
def waiting(tmp_path_factory):
    """The bundled campaign with its last two runs still to come, sealed, looked at once, with a note."""
    c = bundled.bring("chain-soot", tmp_path_factory.mktemp("waiting"), phases=("pilot", "main"))
    for name in ("runs", "stations", "oil"):
        path = c.folder / "raw" / f"{name}.csv"
        lines = path.read_text(encoding="utf-8").splitlines(keepends=True)
        path.write_text("".join(line for line in lines if not line.startswith(("R11,", "R12,"))), encoding="utf-8")
    for run in ("R11", "R12"):
        (c.folder / "raw" / "dyno" / f"{run}.csv.gz").unlink()
    steps.plan(c, phase="main")
    told = {"column": "run_time_h", "old": "99.9", "new": "100.1", "measured_in": "h", "source": "",
            "after_look": False}  # fmt: skip
    with storage.locked(c.folder):
        log.append(c.folder, kind=log.NOTE, phase="main", subject="R02", what=stamp.canonical(told), reason="a slip",
                   role="test engineer")  # fmt: skip
    return c, steps.analyse(c)


def test_an_interim_analysis_says_what_it_waits_for(waiting):
    lines = repr(waiting[1]).splitlines()
    assert lines[:3] == [
        "INTERIM, 10 of 12 runs: campaign 'chain-soot', 9 of 12 runs valid, 1 invalid, 2 pending (R11, R12)",
        "waiting for: R11, R12: the run",
        "elongation_pct",
    ]
    assert lines[3].endswith("Interim, after 10 of 12 runs: an estimate and no claim, as no looks were planned.")
    assert "<p>waiting for: R11, R12: the run</p>" in waiting[1]._repr_html_()
    assert "<h3>elongation (%)</h3><ul>" in waiting[1]._repr_html_()


def test_interim_tables_have_no_tests_and_show_where_pending_runs_could_lead(waiting):
    text = repr(view.comparisons(waiting[1]))
    assert "Where all 2 pending runs could take elongation" in text
    assert "| p |" not in text and "interim, no claim" in text
    assert "| F |" not in repr(view.anova(waiting[1]))
    assert "R11 | B3 | pin P1, oil O0 | pending | the run | elongation, Fe" in repr(view.findings(waiting[1]))


def test_as_run_is_shown_beside_as_planned(waiting):
    text = repr(view_records.as_run(waiting[1]))
    assert text.startswith("Of 12 planned runs: 9 as planned, 1 void (R08), 2 pending (R11, R12).")
    assert "run | experimental unit and error | pin, oil, pin × oil | 12 → 9 → 11 | 6 → 3 → 5" in text
    assert "What comparisons of Fe rest on: planned → as run → once pending runs are in as planned" in text


def test_the_log_is_shown_with_looks_and_notes(waiting, campaign):
    text = repr(view_records.told(waiting[0]))
    assert "9 of 12 runs valid, 1 invalid, 2 pending (R11, R12)" in text
    assert "R02 | run time | 99.9 h → 100.1 h | a slip | test engineer" in text
    fresh = bundled.bring("tappet-finish", waiting[0].folder.parent / "fresh")
    assert repr(view_records.told(fresh)) == "Nobody has looked yet, and nothing was noted."


def test_counts_have_their_singular(campaign, tmp_path):
    lines = steps.check(campaign).lines
    assert lines[0] == "brief 'chain-soot': 2 factors, 2 responses, 4 comparisons; complete blocks"
    assert lines[1] == "pilot: 4 runs in 1 build"
    lines = steps.check(bundled.bring("tappet-finish", tmp_path)).lines
    assert lines[0] == "brief 'tappet-finish': 1 factor, 1 response, 2 comparisons; completely randomised"
