"""The notebooks of one topic each: a heading says the finding, the cell below it asserts it, and what the cell prints
is the answer; the last section says what was shown and names the commands for a campaign of one's own."""

import re

import nbformat
import pytest

from tests.house.tree import ROOT
from toolkit.cli.verbs import VERBS

END = "What was shown, and your own campaign"
# Notebook to its findings: heading, the cell that asserts it, words of the answer that cell prints.
TOPICS = {
    "07-stations-are-not-replicates": [
        ("The segments of a chain share their run", "alike", "Between runs the SD is 0.14"),
        ("More segments sharpen a run value, up to a point", "worth", "5  0.133\n      10  0.127\n     inf  0.120"),
        ("Counted as runs, they raise false alarms", "alarms", "in 46 % of campaigns; 5 % is meant."),
        (
            "The same records, counted wrongly",
            "wrong-said",
            "By segments (wrong): new oil: 19 % less elongation (95 % interval: "
            "13 to 25 % less); a gain is shown, but not that it reaches 20 %.",
        ),
    ],
    "08-the-missing-combination": [
        ("Nothing that averages over the hole can be estimated", "said", "4 of 4 comparisons have no estimate."),
        ("What is left: one factor at a time, the other as it was", "left", "2 differences can be told"),
        ("Taking the interaction as nil buys an answer with a belief", "nil", "In truth -40 %: there is one of -10 %."),
        ("One run would do", "next", "P1 O1: with 1 run every comparison can be estimated."),
    ],
    "09-hard-to-change-factors": [
        (
            "The order changes the sprocket only with the build",
            "order",
            "the sprocket changes 5 times, the oil 11 times.",
        ),
        (
            "What it saves: the same runs with a rebuild for each",
            "hours",
            "16 runs take 8 builds (1,272 h, 105,600 EUR); "
            "with a new build in every run 16 runs take 16 (1,448 h, 123,284 EUR).",
        ),
        ("Two builds of each sprocket are no test of it", "few", "4 builds: 2 degrees of freedom, chance 25 %."),
        ("The analysis has two lines of error", "errors", "Mean square between builds 0.0215, within them 0.0080"),
        ("One error for everything promises what it cannot keep", "wrong", "cannot be told apart from builds"),
    ],
    "10-when-to-stop": [
        ("Stopping at the first answer claims differences that are not there", "looks", "7 looks, claimed at p < 5 %"),
        ("A look on the way gives estimates and no claims", "interim", "INTERIM, 7 of 12 runs"),
        (
            "What the runs that are still to come could do",
            "worst",
            "coating: if all 5 pending runs came out 2 error SDs",
        ),
        ("More runs are not priced while planned ones are pending", "refused", "the planned runs come first."),
        (
            "All runs are in: now verdicts, and then the price of more",
            "next",
            "Nothing up to a whole block pays by itself",
        ),
    ],
    "11-wear-and-ppm": [
        (
            "Within treatments they may go together, and these runs hardly know",
            "within",
            "r = 0.80 (95 % interval -0.02",
        ),
        (
            "Iron is no proof: it answers another question",
            "proof",
            "coating: 5 % less Fe (95 % interval: 27 % less to 24",
        ),
        ("Iron is no substitute: other parts shed it too", "substitute", "wear by -26 % and iron by -11 %"),
        (
            "Iron is no covariate: it would take out the effect itself",
            "covariate",
            "It is worn metal: taking it out would take out the treatment's own effect.",
        ),
    ],
    "12-published-split-plots-of-oats": [
        ("Two units, two errors", "strata", "part | 18 | unit of the part-level factors | variety | 10"),
        ("The known analysis", "anova", "variety | 2 | 1786 | 893.2 | 1.485 | 0.272 | parts | 10"),
        (
            "One error for everything would have shown what is not shown",
            "wrong",
            "on 55 degrees of freedom, p = 0.037.",
        ),
        ("The answers", "picture", "most nitrogen for none: 44 more yield (95 % interval: 35 to 53 more)"),
    ],
}


def sections(stem):
    """The second-level headings of a notebook, each with the cells below it."""
    made = {}
    for cell in nbformat.read(ROOT / "notebooks" / f"{stem}.ipynb", as_version=4).cells:
        first = cell.source.split("\n")[0]
        if cell.cell_type == "markdown" and first.startswith("## "):
            made[first.removeprefix("## ")] = [cell]
        elif made:
            made[next(reversed(made))].append(cell)
    return made


def told(cell):
    """What a cell prints, and the text of what it gives."""
    return "\n".join(
        item.text if item.output_type == "stream" else item.data.get("text/plain", "") for item in cell.outputs
    )


@pytest.mark.parametrize("stem", TOPICS)
def test_each_finding_has_its_heading_a_cell_that_asserts_it_and_its_answer(stem):
    found = sections(stem)
    opening = [name for name in found if name.startswith("Begin") or name in ("The data", "The question as a brief")]
    assert list(found) == [*opening, *(heading for heading, _, _ in TOPICS[stem]), END]
    for heading, name, words in TOPICS[stem]:
        cell = next(cell for cell in found[heading] if cell.id == name)
        assert re.search(r"^(assert |numpy\.testing\.assert_|except \w+ as )", cell.source, re.MULTILINE), name
        assert words in told(cell), (name, told(cell))


@pytest.mark.parametrize("stem", TOPICS)
def test_each_ends_with_what_was_shown_and_the_commands(stem):
    last = sections(stem)[END][0].source
    named = re.findall(r"`wearbook ([a-z]+) CAMPAIGN[^`]*`", last)
    assert named and set(named) <= set(VERBS)
    # A paragraph or points before the commands say what was shown.
    assert len(last.split("`wearbook ")[0].split()) > 30


@pytest.mark.parametrize("stem", TOPICS)
def test_the_title_is_a_finding_and_invented_records_are_marked(stem):
    # Between the title and the text a line says what kind of page it is.
    title, _, text = nbformat.read(ROOT / f"notebooks/{stem}.ipynb", as_version=4).cells[0].source.split("\n\n", 2)
    assert re.fullmatch(r"# [^:\n]+[:,] [^\n]+", title)
    assert text.startswith("**INVENTED.**") != title.startswith("# Published")
