"""A name that a person mistypes in a notebook is told with what there is, and never ends in a list of calls."""

from dataclasses import replace

import pytest

from tests.unit import briefs
from toolkit.campaign import planning
from toolkit.demo import bundled, lessons
from toolkit.design import factorial
from toolkit.errors import WearbookError
from toolkit.plot import station_map
from toolkit.report import view, view_run
from toolkit.size.options import Options


@pytest.fixture(scope="module")
def tappets(tmp_path_factory):
    return bundled.bring("tappet-finish", tmp_path_factory.mktemp("tappets"), phases=("pilot",))


def sizing_of(brief):
    """A sizing that has no plan yet."""
    return Options(brief, (), (), None, "nothing is sized", ())


WRONG = {
    "the sizing": (
        lambda c: view.claims(sizing_of(c.brief), "9 runs"),
        "plan '9 runs': there is no such plan; expected nothing.",
    ),
    "a run": (
        lambda c: view_run.row(c.records(), "P9"),
        "run 'P9': no such run on record; expected 'P01', 'P02', 'P03', 'P04', 'P05' or 'P06'.",
    ),
    "a phase": (
        lambda c: planning.designed(c.brief, "mian"),
        "phase 'mian': there is no such phase; expected 'pilot', 'main' or 'extension'. Did you mean 'main'?",
    ),
    "a phase that is brought": (
        lambda c: bundled.bring("tappet-finish", c.folder, phases=("all",)),
        "phase 'all': there is no such phase; expected 'pilot', 'main' or 'extension'.",
    ),
    "a campaign of one's own": (
        lambda c: lessons.truths(replace(c.brief, id="mine")),
        "'mine': no scenario has this id, so no truth is known of it; expected 'chain-soot', 'tappet-finish' or "
        "'sprocket-build'.",
    ),
    "a response without stations": (
        lambda c: station_map.station_map(c.records().stations, "wear_um"),
        "wear_um: no station was measured for it; expected a response that has stations.",
    ),
    "a comparison": (
        lambda c: c.brief.comparison("hone"),
        "The brief has no such comparison.\n  comparison 'hone': there is none of that name; expected 'honing' or "
        "'superfinishing'. Did you mean 'honing'?",
    ),
    "a stratum": (
        lambda c: factorial.full(briefs.blocked(), builds=2).strata.stratum("bulid"),
        "stratum 'bulid': there is none; expected 'build', 'run', 'station' or 'reading'. Did you mean 'build'?",
    ),
}


@pytest.mark.parametrize("what", WRONG)
def test_a_wrong_name_is_told_with_what_there_is(what, tappets):
    call, told = WRONG[what]
    with pytest.raises(WearbookError) as caught:
        call(tappets)
    assert str(caught.value) == told
