"""All responses side by side: the rows are those of each answer, the primary first."""

from tests.unit.report import example
from toolkit.decide import together
from toolkit.model import agreement as model_agreement

BRIEF = example.brief()
ANALYSIS = example.analysed(BRIEF)


def test_agreement_is_that_of_the_fits_and_stands_in_the_json():
    fits = [item.fit for item in ANALYSIS.responses.values()]
    expected = model_agreement.agreement(fits)
    assert ANALYSIS.agreement.equals(expected) and len(expected) == 1
    assert ANALYSIS.to_json()["agreement"][0]["sentence"] == expected["sentence"].iloc[0]
    assert expected["sentence"].iloc[0].startswith("wear_um and torque_Nm: within treatments r = ")


def test_tables_of_all_responses_lie_below_each_other():
    made = together.tables(ANALYSIS.responses)
    assert set(made) == {"model_terms", "chances", "equivalence", "settling", "simple_effects", "simple_tests"}
    assert list(dict.fromkeys(made["chances"]["response"])) == ["wear_um", "torque_Nm"]
    assert len(made["chances"]) == 8 and len(made["model_terms"]) == 8
    assert list(made["simple_tests"]["response"])[:4] == ["wear_um"] * 4
    written = ANALYSIS.tables()
    assert {"agreement", "before_deciding", *made} <= set(written)


def test_a_single_response_has_nothing_to_agree_with():
    only = {"wear_um": ANALYSIS.responses["wear_um"]}
    assert len(together.agreement(only.values())) == 0
