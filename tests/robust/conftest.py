"""The folders at the state before each verb, with the clock fixed and everything computed once."""

import pytest

from tests.robust import folders, processes
from toolkit.campaign import sizing, steps
from toolkit.report import steps as report_steps

# A page of the size of a report; drawing its figures takes seconds and is no matter of files.
PAGE = '<!doctype html>\n<html lang="en"><title>Report</title>' + "<p>INVENTED</p>\n" * 20_000 + "</html>\n"
CACHED = [
    (sizing, "sizing_of", processes.once(sizing.sizing_of)),
    (steps, "analysis_of", processes.once(steps.analysis_of)),
    (report_steps, "build", lambda *_, **__: PAGE),
]


@pytest.fixture(scope="session")
def made(tmp_path_factory):
    """The folders, the clock fixed."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEARBOOK_NOW", folders.CLOCK)
        for cached in CACHED:
            patch.setattr(*cached)
        home = tmp_path_factory.mktemp("robust")
        return folders.States(folders.prepare(home), home)


@pytest.fixture
def states(made, monkeypatch):
    """Verb to the folder before it, and verb to the contents before it and after an undisturbed run.

    Sizing and analysis are computed once and given again, and the page of the report is always the same: they take
    seconds and write nothing; only what is written can be left half-done.
    """
    monkeypatch.setenv("WEARBOOK_NOW", folders.CLOCK)
    for cached in CACHED:
        monkeypatch.setattr(*cached)
    return made


@pytest.fixture
def numbers(request):
    """How many inputs of each kind are spoiled, and from which seed."""
    return request.config.getoption("n") or 100, request.config.getoption("seed")
