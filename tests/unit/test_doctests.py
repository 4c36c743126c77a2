"""The examples in docstrings run and print what they say."""

from __future__ import annotations

import doctest
from importlib import import_module

import pytest

from tests.house.tree import module_name, sources

WITH_EXAMPLES = [module_name(path) for path, text in sources("toolkit").items() if ">>> " in text]
# What a person calls from Python, in the order of the job.
CALLED = (
    "toolkit.campaign.folder.open_campaign",
    "toolkit.campaign.steps.check",
    "toolkit.brief.reading.parse",
    "toolkit.design.factorial.full",
    "toolkit.design.orders.randomise",
    "toolkit.size.scatter.known",
    "toolkit.model.fit.fit",
    "toolkit.model.comparisons.comparisons",
    "toolkit.decide.verdict.name_of",
)


@pytest.mark.parametrize("module", WITH_EXAMPLES)
def test_examples_print_what_they_say(module):
    found = doctest.testmod(import_module(module))
    assert (found.failed, found.attempted > 0) == (0, True)


@pytest.mark.parametrize("name", CALLED)
def test_what_a_person_calls_has_an_example(name):
    module, _, function = name.rpartition(".")
    assert ">>> " in (getattr(import_module(module), function).__doc__ or "")
