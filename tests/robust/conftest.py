"""The folders at the state before each verb, with the clock fixed and everything computed once."""

import pytest

from tests.robust import folders
from toolkit.campaign import sizing, steps
from toolkit.report import steps as report_steps

CACHED = [(sizing, "sizing_of"), (steps, "analysis_of"), (report_steps, "build")]


@pytest.fixture(scope="session")
def made(tmp_path_factory):
    """The folders, and the functions that compute once."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("WEARBOOK_NOW", folders.CLOCK)
        kept = [folders.once(getattr(module, name)) for module, name in CACHED]
        for (module, name), function in zip(CACHED, kept, strict=True):
            patch.setattr(module, name, function)
        home = tmp_path_factory.mktemp("robust")
        states = folders.States(folders.prepare(home), home)
        for verb in folders.VERBS:
            states.new(verb)
    return states, kept


@pytest.fixture
def states(made, monkeypatch):
    """Verb to the folder before it, and verb to the contents before it and after an undisturbed run.

    Sizing, analysis and the page of the report are computed once and given again (they take seconds and rest on the
    records alone, which stay as they are): only what is written can be left half-done.
    """
    monkeypatch.setenv("WEARBOOK_NOW", folders.CLOCK)
    for (module, name), function in zip(CACHED, made[1], strict=True):
        monkeypatch.setattr(module, name, function)
    return made[0]


@pytest.fixture
def numbers(request):
    """How many inputs of each kind are spoiled, and from which seed."""
    return request.config.getoption("n") or 100, request.config.getoption("seed")
