"""The questions of the guide: each has its heading, its command, an answer of two lines that a cell works out and
asserts, and a picture. Stored answers are compared with what the cell prints today by nbval."""

import re

import nbformat
import pytest

from tests.house.tree import ROOT
from toolkit.cli.verbs import VERBS

HEADING = re.compile(r'^## (\d+)\. .*[?"]$')
PICTURE, IN_WORDS_TOO = "image/png", "text/plain"
# Notebook to its questions in order: the question, and words of its answer.
ANSWERS = {
    "05-questions-before-the-runs": [
        ("I have money for twelve runs. Will they show a fifth less wear?", "Not surely: a true 20 % of the new oil is "
         "shown with a chance of 68 %"),
        ("Here are my four pilot runs. How noisy is my test really?", "about 11 %, and anything from 6 to 70 % fits"),
        ("Can't I just measure more links instead of making more runs?", "Up to a point: one segment leaves a run "
         "value scattering by 0.176, ten by 0.127"),
        ("I measured ten segments on every chain. Is that ten times the data?", "in 41 of a hundred campaigns; run "
         "values do so in 5"),
        ("Changing the sprocket is a week-end, oil is an afternoon. In what order?", "changes it 5 times."),
        ("Which error judges what?", "The sprocket is judged by the scatter between builds (6 df)"),
        ("How many replicates do I need?", "3 of each combination (full factorial, 3 builds of 4 runs)"),
        ("Which difference counts as worthwhile?", "Here 20 % less. If that is the truth, more is shown in only 2.5 %"),
        ("How wrong would my old one-each comparison have been?", "20 % or more is seen, one way or the other, in 11 % "
         "of tests where there is no difference"),
        ("May I look after every run, and stop when it is clear?", "No: a difference is then claimed where there is "
         "none in 16 of a hundred campaigns"),
        ("We cannot randomise: the oil change takes a day.", "six leave 4 degrees of freedom, four 2"),
        ("Do I need a statistician for this?", "No. A plan that cannot be analysed is refused before it is run"),
    ],
    "06-questions-after-the-runs": [
        ("A run stopped early. Keep it?", "No: it ran 41.3 h where 99 to 101 h are asked"),
        ("The oil was hot one night. Is the run dead?", "'worthwhile gain' becomes 'gain, size not settled' without "
         "R10"),
        ("Is the engine drifting?", "Not shown, which is not the same as absent."),
        ("The coating looks a third better. Is that real, and is it enough?", "Real, yes: coating: 32 % less "
         "elongation (95 % interval: 14 to 46 % less)"),
        ("Does the coating only work with the new oil?", "neither an interaction nor its absence is shown."),
        ("Iron in the oil dropped as well. Does that prove it?", "Within treatments r = 0.80, between -0.02 and 0.98"),
        ("Can I tell the customer that the new oil is no worse?", "Yes, against the margin of the brief: that it makes "
         "wear no more than 25 % worse is shown."),
        ("One run looks odd. May I throw it away?", "R02 is the oddest, no odder than one of so many may be"),
        ("*p* is above five per cent, so there is no difference?", "No: p = 0.07, but the new oil may change wear by "
         "-36 to +2 %."),
        ("I never ran the coated pin with the new oil. Can I still say something?", "One run of pin P1, oil O1 would "
         "make it estimable."),
        ("My result changes when I name the factors in another order. Type I, II or III?", "0.080 named last, 0.040 "
         "named first. Type II: 0.080, always."),
        ("One run of each combination: why is there no interval?", "add a build with all 4 combinations; or"),
        ("What should I run next, and when do I stop?", "Nothing up to a whole block pays by itself"),
        ("One segment is way out. May I throw it away?", "No. Half of the chains have one 26 % or more above their "
         "mean"),
        ("The laboratory writes 'less than'. What do I enter?", "The sign and the limit: 2 of 11 runs"),
        ("Can I add last year's data?", "with it the new oil is 'gain, size not settled', without it 'not known yet'."),
        ("Another program gives a far smaller *p* for the same runs. Who is right?", "p = 0.012; by a normal curve "
         "0.0004."),
        ("The scatter between builds comes out as nought. Is something broken?", "Builds judge the sprocket all the "
         "same, on 6 degrees of freedom"),
        ("Two of the segments came out negative. Do I set them to nought?", "Never. R04 has wear below 0 at stations "
         "SEG04, SEG07"),
    ],
}  # fmt: skip
IN_WORDS = {12: "Twelve", 19: "Nineteen"}


def cells(stem):
    """All cells of a notebook of questions."""
    return nbformat.read(ROOT / "notebooks" / f"{stem}.ipynb", as_version=4).cells


def sections(stem):
    """The cells below each heading of a question."""
    found = []
    for cell in cells(stem):
        first = cell.source.split("\n")[0]
        if cell.cell_type == "markdown" and HEADING.match(first):
            found.append([cell])
        elif cell.cell_type == "markdown" and first.startswith("#"):
            found.append([])
        elif found:
            found[-1].append(cell)
    return [found for found in found if found and found[0].source.startswith("## ")]


def printed(cell):
    """What a cell prints."""
    return "".join(item.text for item in cell.outputs if item.output_type == "stream").strip()


@pytest.mark.parametrize("stem", ANSWERS)
def test_the_questions_are_these_in_this_order(stem):
    headings = [found[0].source.split("\n")[0] for found in sections(stem)]
    assert headings == [f'## {at}. "{asked}"' for at, (asked, _) in enumerate(ANSWERS[stem], start=1)]
    assert re.search(rf"^{IN_WORDS[len(headings)]} questions ", cells(stem)[0].source, re.MULTILINE)


@pytest.mark.parametrize("stem", ANSWERS)
def test_a_question_has_its_command_an_asserted_answer_of_two_lines_and_a_picture(stem):
    for (heading, answer, _, seen), (asked, words) in zip(sections(stem), ANSWERS[stem], strict=True):
        named = re.findall(r"`wearbook ([a-z]+) CAMPAIGN", heading.source)
        assert named and set(named) <= set(VERBS), asked
        assert re.search(r"^assert ", answer.source, re.MULTILINE), asked
        assert answer.metadata.get("tags") == ["nbval-check-output"], asked
        assert len(printed(answer).splitlines()) == 2, (asked, printed(answer))
        assert words in printed(answer), (asked, printed(answer))
        pictures = [item.data for item in seen.outputs if PICTURE in item.get("data", {})]
        assert pictures, asked
        # The picture in words carries numbers, too.
        assert all(len(re.findall(r"\d+", data[IN_WORDS_TOO])) >= 3 for data in pictures), asked
