"""The report page: what comes first, what a reader and a screen reader find, what it never holds."""

import base64
import dataclasses
import re

import pytest

from tests.unit.decide.made import as_made, noted
from tests.unit.plot import example as frames
from tests.unit.report import example
from tests.unit.report import test_history as history
from tests.unit.report.page import Page
from tests.unit.report.test_words import SIZING
from tests.unit.report.undrawn import undrawn
from toolkit import cautions
from toolkit.decide import analysis
from toolkit.decide.verdict import NAMES
from toolkit.report import html
from toolkit.report.html import ReportInput

BRIEF = example.brief()
ONE = dataclasses.replace(example.brief(("coating",)), responses=BRIEF.responses[:1])
POLICY = "default-src 'none'; img-src data:; style-src 'unsafe-inline'"


@pytest.fixture(scope="module")
def made():
    """The text of the report of a whole campaign, and its analysis."""
    found = example.analysed(BRIEF)
    return html.build(ReportInput(found, example.STAMP, SIZING)), found


def read_back(found, log=(), sizing=SIZING):
    """The report of an analysis, read back; its pictures are drawn and not turned into points, which takes long."""
    with undrawn():
        return Page(html.build(ReportInput(found, example.STAMP, sizing, log)))


@pytest.fixture(scope="module")
def page(made):
    """The report of a whole campaign, read back."""
    return Page(made[0])


def test_the_page_is_well_formed_and_says_what_it_is(page):
    assert page.declared == "doctype html"
    assert page.unbalanced == [] and page.open == []
    assert page.all("html") == [{"lang": "en"}]
    assert page.text("title") == page.text("h1") == "chain-soot: report"
    assert {"charset": "utf-8"} in page.all("meta")


def test_it_holds_no_script_and_asks_nobody_for_anything(made, page):
    assert {"http-equiv": "Content-Security-Policy", "content": POLICY} in page.all("meta")
    assert {tag for tag, _ in page.tags} & {"script", "link", "iframe", "object", "embed", "form", "base"} == set()
    for _, attributes in page.tags:
        assert [name for name in attributes if name.startswith("on")] == []
        for name in ("src", "href"):
            assert attributes.get(name, "#").startswith(("data:image/png;base64,", "#"))
    assert "url(" not in made[0] and "@import" not in made[0] and "http:" not in made[0].replace("http-equiv", "")


def test_answers_come_first_and_the_sections_follow_in_order(page):
    headings = [data.strip() for tag, data in page.texts if tag == "h2"]
    assert headings == [
        "Answers", "The answers in numbers", "A figure for each answer", "Runs and records: void, pending, flagged",
        "As run beside as planned", "Looks, notes, amendments", "With and without flagged runs", "Scope",
        "Level by level: interactions, pairs, shapes", "Analysis of variance, means, scatter", "Residual checks",
        "Beside the answers", "Method", "Cautions", "Stamp",
    ]  # fmt: skip


def test_each_comparison_has_its_verdict_and_sentence(made, page):
    text = page.text("span")
    for found in made[1].responses.values():
        for row in found.verdicts.to_dict("records"):
            assert f"{row['verdict']} {row['sentence']}" in text


def test_the_first_page_says_what_it_took_and_what_is_next(made, page):
    took = "Sealed plan: full factorial, 3 builds, 12 runs, 1,540 h, 187,560 with the expected repeats."
    assert took in page.text("p")
    name = BRIEF.responses[0].name
    told = made[1].responses[name].beside.next_runs
    assert told.sentence == f"{name}: every comparison is settled; no further run is needed for them."
    assert "<p><strong>Next:</strong> every comparison is settled; no further run is needed for them.</p>" in made[0]
    # The answers come before the list of contents, so that they stand on the first screen.
    assert made[0].index('<ol class="answers">') < made[0].index('<nav aria-label="Contents">')


def test_headings_never_jump_and_there_is_one_h1(page):
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels.count(1) == 1 and levels[0] == 1
    assert all(after - before <= 1 for before, after in zip(levels, levels[1:], strict=False))


def test_landmarks_are_there_and_links_lead_to_their_section(page):
    for landmark in ("header", "nav", "main", "aside", "footer"):
        assert len(page.all(landmark)) == 1
    ids = [attributes["id"] for _, attributes in page.tags if "id" in attributes]
    assert len(ids) == len(set(ids))
    assert [attributes["href"] for attributes in page.all("a")] == [f"#{name}" for name in ids]
    assert [attributes["aria-labelledby"] for attributes in page.all("section")] == [
        name for name in ids if name != "cautions"
    ]
    assert page.all("nav") == [{"aria-label": "Contents"}]


def test_every_figure_says_in_words_what_it_shows(page):
    images = page.all("img")
    # Two responses: comparisons, means, four answers, timeline, residuals each; and one against the other.
    assert len(images) == len(page.all("figure")) == len(page.all("figcaption")) == 17
    for image in images:
        assert len(image["alt"]) >= 30
        assert base64.b64decode(image["src"].partition(",")[2], validate=True).startswith(b"\x89PNG")
    assert len({image["alt"] for image in images}) == 17


def test_every_table_has_a_caption_and_scopes(page):
    assert len(page.all("table")) == len(page.all("caption")) >= 16
    assert all(attributes.get("scope") in ("col", "row") for attributes in page.all("th"))
    rows = len([1 for tag, _ in page.tags if tag == "tr"]) - len(page.all("thead"))
    assert len([1 for attributes in page.all("th") if attributes["scope"] == "row"]) == rows


def test_void_and_flagged_runs_are_shown_with_their_reason(page):
    text = page.text()
    assert "oil pressure lost, tripped" in page.text("td")
    assert "wear (µm): flagged, to be looked at again, and part of the answers: R07 (" in text
    assert "torque (N·m): flagged, to be looked at again, and part of the answers: R07 (" in text


def test_scope_method_cautions_and_stamp_are_there(page):
    text = page.text()
    assert "Nothing here speaks of other engines, other batches of parts, coating or oil" in text
    assert page.text("code").startswith("ln(wear) = mean + build + pin + oil + pin × oil + error (run)")
    assert all(line in text for line in cautions.lines())
    for value in (
        "b" * 64,
        "c" * 64,
        "d" * 64,
        "e" * 64,
        "20417",
        "2026-03-04T05:06:07Z",
        "python 3.11.7, wearbook 0.1.0",
    ):
        assert value in page.text("td")


def test_the_only_time_on_the_page_is_that_of_the_last_record(made):
    assert set(re.findall(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d\S*?Z?(?=<)", made[0])) == {"2026-03-04T05:06:07Z"}


def test_print_is_on_a4_without_cut_tables_and_figures(made):
    style = made[0].partition("<style>")[2].partition("</style>")[0]
    assert "@page { size: A4;" in style
    assert '@bottom-left { content: "chain-soot";' in style
    assert '@bottom-right { content: "page " counter(page) " of " counter(pages);' in style
    assert "tr, figure, aside, li, table { break-inside: avoid; }" in style
    assert "thead { display: table-header-group; break-after: avoid; }" in style


def luminance(colour):
    """Relative luminance of '#rrggbb' (WCAG 2.2, definition of relative luminance)."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def test_every_colour_of_text_stands_out_from_what_is_behind_it(made):
    # WCAG 2.2, success criterion 1.4.3: at least 4.5 to 1.
    style = made[0].partition("<style>")[2].partition("</style>")[0]
    rules = [part.partition("{")[2] for part in style.split("}")]
    seen = 0
    for rule in rules:
        ink = re.search(r"(?<![-\w])color: (#\w{6})", rule)
        if ink is None:
            continue
        behind = re.search(r"background: (#\w{6})", rule)
        pair = sorted((luminance(ink[1]), luminance(behind[1] if behind else "#ffffff")))
        assert (pair[1] + 0.05) / (pair[0] + 0.05) >= 4.5, rule
        seen += 1
    assert seen >= 7


def test_a_whole_campaign_is_a_third_of_what_a_mail_takes(made):
    assert len(made[0].encode()) < 500_000
    assert "INTERIM" not in made[0]


def test_pending_runs_make_it_interim_and_the_same_inputs_give_the_same_bytes():
    found = example.analysed(ONE, pending=("R10", "R11", "R12"))
    first = html.build(ReportInput(found, example.STAMP))
    text = Page(first).text()
    assert (
        "INTERIM, 9 of 12 runs. What stands below are estimates and no claims: no looks were planned, so nothing is "
        "judged before all runs are in. Every look is written into the log. Waiting for: R10, R11, R12: the run."
    ) in text
    assert "8 of 12 runs valid, 1 invalid, 3 pending (R10, R11, R12)." in text
    assert "No sizing was sealed with the plan, so nothing tells what these runs were expected to show." in text
    again = example.afresh(ONE, pending=("R10", "R11", "R12"))
    assert again is not found
    assert html.build(ReportInput(again, example.STAMP)) == first


@pytest.fixture(scope="module")
def waiting():
    """A campaign with three runs to come."""
    return example.analysed(BRIEF, void="none", pending=("R10", "R11", "R12"))


def test_an_interim_report_claims_nothing_anywhere(waiting):
    page = read_back(waiting)
    text = page.text()
    assert [item.interim for item in waiting.responses.values()] == ["9 of 12 runs"] * 2
    spans = page.text("span")
    assert spans.count("interim, no claim") == 8 and "shown" not in spans
    for name in NAMES:
        assert name not in spans and name not in page.text("td")
        assert not any(name in (image["alt"] or "") for image in page.all("img"))
    assert "in words:" not in text
    # Neither p nor F of any test, and no sentence that something is shown or not.
    heads = [data for tag, data in page.texts if tag == "th"]
    assert "p" not in heads and "F" not in heads and "verdict" in heads
    assert "Interim, 9 of 12 runs: " in text and "nothing is claimed from them yet" in text


def test_an_interim_report_tells_what_is_awaited_and_where_it_could_lead(waiting):
    page = read_back(waiting)
    captions = page.text("caption")
    assert "Runs that answers wait for" in captions
    assert captions.count("Where all 3 pending runs could take ") == 2
    alts = [image["alt"] for image in page.all("img")]
    assert sum(alt.startswith("Interim, 9 of 12 runs") for alt in alts) == 4
    assert page.unbalanced == []


def test_a_finished_report_waits_for_nothing(page):
    text = " ".join(data for tag, data in page.texts if tag != "style").casefold()
    assert "waiting for" not in text and "interim" not in text


def test_looks_notes_and_amendments_are_listed(waiting):
    rows = [
        history.look("a" * 64, "7 of 12 runs valid", {"R01": "valid"}, "2026-03-20T08:00:00Z"),
        history.note("R02", "run_time_h", "99.2", "100.2", unit="h"),
        history.note("R06", "verdict", "valid", "invalid", late=True),
        history.row("amending", "b" * 64, history.AMENDED, reason="cell lost", role="project leader"),
        history.row("amended", "b" * 64, "done"),
    ]
    page = read_back(waiting, rows)
    captions = page.text("caption")
    for caption in ("Looks at the results so far", "Notes on runs", "Amendments of the sealed plan"):
        assert caption in captions
    assert [data for tag, data in page.texts if tag == "s"] == ["99.2 h", "valid", "a" * 12]
    assert "yes: noted after a look" in page.text("strong")
    assert "The log holds no look, no note and no amendment." in read_back(waiting).text()


def test_a_verdict_noted_after_a_look_is_marked_on_the_first_page_and_with_the_runs():
    planned, taken = as_made(BRIEF, corrections=[noted("R06", "verdict", "valid", "invalid", late=True)])
    found = analysis.analyse(BRIEF, taken, planned=planned)
    page = read_back(found)
    assert "Note: R06: verdict noted after its wear had been looked at." in page.text()
    cells = page.text("td")
    assert "invalid, noted after a look" in cells
    assert "invalid: slip of the pen; verdict noted after a look" in cells


def test_runs_stand_as_run_beside_as_planned():
    found = example.analysed(BRIEF, R04_pin="P0", R06_build_id="B1")
    page = read_back(found)
    text = page.text()
    assert "Of 12 planned runs: 9 as planned, 2 otherwise (R04, R06), 1 void (R05)." in text
    assert "P0 (P1)" in page.text("td") and "B1 (B2)" in page.text("td")
    captions = page.text("caption")
    assert "Strata: planned → as run" in captions
    assert "What comparisons of wear rest on: planned → as run" in captions
    assert "Not worked out, wear_um: its scatter before the runs is not known, so no chances are told." in text


def test_whole_plots_that_lost_a_run_are_judged_and_the_page_says_how():
    pin = dataclasses.replace(BRIEF.factors[0], undo="build")
    brief = dataclasses.replace(
        BRIEF, factors=(pin, BRIEF.factors[1]), block_by=None, plan=dataclasses.replace(BRIEF.plan, builds=6)
    )
    page = read_back(example.analysed(brief))
    assert page.text("code").startswith("ln(wear) = mean + pin + error (build) + oil + pin × oil + error (run)")
    assert "Kenward and Roger" in page.text("p")
    assert "Builds are the units of the factors changed with the build (whole plots); the " in page.text("p")


def test_a_response_that_cannot_be_analysed_says_why_and_the_other_is_answered():
    brief = dataclasses.replace(BRIEF, comparisons=ONE.comparisons)
    found = example.analysed(brief, R02_wear_um=-0.5)
    stopped = found.responses["wear_um"].stopped
    assert "R02" in stopped
    page = read_back(found, sizing=None)
    text = page.text()
    assert "Not analysed. " + " ".join(stopped.split()) in text
    assert f"{found.responses['torque_Nm'].verdicts['sentence'][0]}" in text
    assert "Comparisons of wear" not in text and "Comparisons of torque: differences" in text
    assert "R02: −0.500 has no place on a log scale" not in text
    assert len(page.all("img")) == 6


def test_nothing_that_can_be_analysed_is_still_a_report():
    found = example.analysed(ONE, R02_wear_um=-0.5)
    page = read_back(found, sizing=None)
    assert page.text().count("No response could be analysed.") == 4
    assert len(page.all("img")) == 1
    assert page.unbalanced == []


def test_a_campaign_without_comparisons_has_effects_and_no_verdicts():
    brief = dataclasses.replace(ONE, comparisons=(), families=())
    page = read_back(example.analysed(brief), sizing=None)
    assert page.all("ol") == [{"class": "answers"}]
    assert page.all("li")[0] == {}
    assert "Effects on wear, term by term" in page.text("caption")
    assert "Comparisons of wear" not in page.text("caption")


def test_seven_comparisons_with_long_names_of_two_responses_stay_below_a_megabyte():
    brief = example.brief(frames.LONG)
    page = html.build(ReportInput(example.analysed(brief), example.STAMP))
    assert len(page.encode()) < 1_000_000
    assert len(Page(page).all("img")) == 2 * (1 + 1 + 7 + 1 + 1) + 1


def test_more_answers_than_a_mail_can_carry_keep_their_figures_in_common():
    names = tuple(f"question {at}" for at in range(9))
    asked = example.brief(names).comparisons
    many = tuple(dataclasses.replace(item, name=f"{item.name}, part {part}") for part in "abc" for item in asked)
    brief = dataclasses.replace(ONE, comparisons=many)
    page = read_back(example.analysed(brief), sizing=None)
    assert len(page.all("img")) == 4


def test_what_to_know_before_deciding_stands_below_the_primary_answers(made, page):
    found = made[1]
    lines = list(found.before_deciding["sentence"])
    assert lines and all(line in page.text("li") for line in lines)
    text = page.text()
    assert text.index("Before deciding") < text.index("torque (N·m), secondary: exploratory")
    none = dataclasses.replace(found, before_deciding=found.before_deciding.iloc[:0])
    assert "Before deciding" not in read_back(none, sizing=None).text()


def test_the_model_is_told_in_words_and_what_each_comparison_is_worth_beside_it(made, page):
    found = made[1].responses["wear_um"]
    assert found.model.words in page.text("p")
    assert found.model.equation in page.text("code")
    assert f"reading only: {found.model.formula}" in page.text("p")
    weighed = found.beside.weighed
    assert f"{weighed.chance('coating')[1:]}" in page.text("span")
    for caption in ("Every answer of every response", "Whether responses go together run by run",
                    "Wear against the worthwhile change", "Wear, pin × oil: the ratio of ratios"):  # fmt: skip
        assert caption in page.text("caption")


def test_without_an_error_the_page_judges_effects_by_each_other_and_draws_no_residuals():
    brief = dataclasses.replace(ONE, block_by=None, plan=dataclasses.replace(ONE.plan, builds=0, replicates=1))
    found = example.analysed(brief, void="none")
    assert found.responses["wear_um"].unrepeated is not None
    page = read_back(found)
    spans = page.text("span")
    assert "no error estimate coating: " in spans and "(no error estimate); no verdict is possible." in spans
    assert "Nothing in these runs tells their scatter" in page.text("p")
    assert "Effects on wear judged by each other, as nothing was repeated" in page.text("caption")
    assert any((image["alt"] or "").startswith("Half-normal picture.") for image in page.all("img"))
    assert not any((image["alt"] or "").startswith("Residuals") for image in page.all("img"))
    assert "What a picture would show is rounding." in page.text("p")
    assert page.unbalanced == []
