"""The tools of the reference tests themselves: reading is exact, and a wrong number is found wrong."""

import csv
import math

import pytest

from tests.reference.loader import HERE, case_ids, close, load, matching_digits


def test_every_number_of_every_data_file_is_read_to_the_last_bit() -> None:
    """A reader that is off by one unit in the last place would spoil the cases with many constant digits."""
    wrong, read = [], 0
    for case_id in case_ids():
        for name, frame in load(case_id).frames.items():
            with (HERE / case_id / f"{name}.csv").open(encoding="utf-8", newline="") as file:
                rows = list(csv.DictReader(file))
            for column in frame.select_dtypes("float").columns:
                for found, row in zip(frame[column], rows, strict=True):
                    if row[column]:
                        read += 1
                        if found != float(row[column]):
                            wrong.append(f"{case_id}/{name}.csv: {row[column]} read as {found!r}")
    assert not wrong
    assert read > 50_000


def test_values_of_a_case() -> None:
    """Numbers, printed numbers, tables with a dot in a term's name, lists, and cells that are no numbers."""
    case = load("k03-rcbd-penicillin")
    assert case.expected("anova.treatment.F") == 1.23893805309735
    assert case.published("anova.treatment.F") == 1.24
    assert case.published_abs("anova.treatment.F") == 0.006
    assert case.names("anova") == ["blend", "treatment", "Residuals"]
    moore = load("k04-moore-types").table("type2")
    assert list(moore.index) == ["fcategory", "partner.status", "fcategory:partner.status", "Residuals"]
    assert moore.loc["partner.status", "df"] == 1
    assert math.isnan(moore.loc["Residuals", "F"])
    first = load("k09-ci-halfwidth-n").records("cases")[0]
    assert first == {"s": 5.0, "h": 2.0, "conf": 0.95, "type": "mean", "n": 27.0}
    empty = load("k04-toothgrowth-empty-cell")
    assert empty.text("supp_difference_at_dose.2") == ""
    with pytest.raises(ValueError, match="supp_difference_at_dose.2 is '', not a number"):
        empty.expected("supp_difference_at_dose.2")


def test_unknown_names_are_told() -> None:
    """A mistyped case or key must stop a test, not let it pass."""
    case = load("k03-rcbd-penicillin")
    with pytest.raises(FileNotFoundError, match="no reference case 'k99'"):
        load("k99")
    with pytest.raises(KeyError, match="has no key 'anova.blends.ss'"):
        case.expected("anova.blends.ss")
    with pytest.raises(KeyError, match="prints no 'relative_efficiency'"):
        case.published("relative_efficiency")
    with pytest.raises(KeyError, match="no key below 'type4'"):
        case.table("type4")


@pytest.mark.parametrize(
    ("found", "expected", "digits"),
    [(1.0, 1.0, 15.0), (1.001, 1.0, 3.0), (-1.0, 1.0, 0.0), (0.0, 0.0, 15.0), (1e-9, 0.0, 9.0)],
)
def test_matching_digits(found: float, expected: float, digits: float) -> None:
    """The definition of the log relative error, worked by hand; no digit for a NaN."""
    assert matching_digits(found, expected) == pytest.approx(digits, abs=1e-6)
    assert matching_digits(math.nan, expected) == 0.0


def test_close_uses_the_tolerance_of_the_case() -> None:
    """Relative by `rel`, absolute where 0 is expected or the case states `abs`; NaN is never close."""
    relative = load("k03-rcbd-penicillin")
    assert relative.tolerance == {"rel": 1e-8}
    assert close(226 * (1 + 0.9e-8), 226, relative)
    assert not close(226 * (1 + 1.1e-8), 226, relative)
    assert close(0.9e-8, 0.0, relative)
    assert not close(math.nan, 226, relative)
    exact = load("k09-ci-halfwidth-n")
    assert close(27, 27, exact)
    assert not close(27.001, 27, exact)
    solved = load("k09-power-t")
    assert close(22.02118, 22.0211, solved, key="n_rel")
    assert not close(22.02132, 22.0211, solved, key="n_rel")
