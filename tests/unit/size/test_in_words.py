"""Changes and smallest changes as people say them: sign, unit, and the ratio beside the per cent."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from tests.unit import briefs
from tests.unit.size.test_options import BRIEF, known
from toolkit.brief.model import Response
from toolkit.size import in_words, options

LOG = briefs.blocked().responses[0]
LINEAR = Response("torque_Nm", better="larger", scale="linear")


def test_a_gain_has_its_sign_and_unit():
    assert in_words.changed(LOG, -math.log(0.782)) == "-21.8 %"
    assert in_words.changed(replace(LOG, better="larger"), math.log(1.25)) == "+25 %"
    assert in_words.changed(LINEAR, 3.25) == "+3.25 N·m"
    assert in_words.changed(replace(LINEAR, better="smaller"), 3.25) == "-3.25 N·m"


def test_the_smallest_change_stands_as_per_cent_with_its_ratio():
    claim = options.options(BRIEF, [known(BRIEF)]).options[1].claim("elongation_pct", "coating")
    ratio = claim.detectable_ratio
    assert in_words.detectable(LOG, claim) == f"{100 * (ratio - 1):+.3g} % (× {ratio:.3g})"
    assert in_words.smallest(claim) == ratio
    assert in_words.gain_of(ratio, LOG) == pytest.approx(-math.log(ratio))
    linear = replace(claim, detectable_ratio=None, detectable_change=3.25)
    assert in_words.detectable(LINEAR, linear) == "+3.25 N·m"
    assert in_words.detectable(LOG, replace(claim, detectable_ratio=None)) == "–"


def test_the_true_change_has_its_sign_and_unit():
    plain = options.options(BRIEF, [known(BRIEF)]).options[0].claim("elongation_pct", "coating")
    claim = replace(plain, assumed_change=20.0)
    assert in_words.assumed(LOG, claim) == "-20 %"
    assert in_words.assumed(replace(LOG, better="larger"), claim) == "+20 %"
    assert in_words.assumed(LINEAR, replace(claim, assumed_change=3.25)) == "+3.25 N·m"
    assert in_words.assumed(LINEAR, replace(claim, assumed_change=None)) == "–"
