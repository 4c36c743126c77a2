"""The examples in docstrings run and print what they say."""

from __future__ import annotations

import doctest
from importlib import import_module

import pytest

from tests.house.tree import module_name, sources

WITH_EXAMPLES = [module_name(path) for path, text in sources("toolkit").items() if ">>> " in text]
# What a person calls from Python, in the order of the job.
CALLED = (
    "toolkit.shipped.folder",
    "toolkit.demo.bundled.names",
    "toolkit.demo.bundled.bring",
    "toolkit.campaign.start.new",
    "toolkit.campaign.folder.open_campaign",
    "toolkit.campaign.steps.check",
    "toolkit.brief.model.Brief",
    "toolkit.brief.factor.Factor",
    "toolkit.brief.factor.Level",
    "toolkit.brief.model.Response",
    "toolkit.brief.model.Comparison",
    "toolkit.brief.reading.parse",
    "toolkit.report.view.question",
    "toolkit.report.view.layout",
    "toolkit.report.view.primary",
    "toolkit.report.view.relative",
    "toolkit.design.factorial.full",
    "toolkit.design.strata.of_runs",
    "toolkit.design.terms.name_of",
    "toolkit.design.questions.of_term",
    "toolkit.report.view.strata",
    "toolkit.design.orders.randomise",
    "toolkit.size.scatter.known",
    "toolkit.campaign.sizing.known",
    "toolkit.size.split.components_of",
    "toolkit.size.options.options",
    "toolkit.size.advice.of_options",
    "toolkit.campaign.steps.size",
    "toolkit.size.promise.claims",
    "toolkit.size.in_words.detectable",
    "toolkit.campaign.planning.designed",
    "toolkit.campaign.steps.plan",
    "toolkit.plot.plan.alt_plan_map",
    "toolkit.campaign.sheets.issue",
    "toolkit.report.view_steps.hours",
    "toolkit.report.view_steps.closing",
    "toolkit.model.fit.fit",
    "toolkit.model.anova.table",
    "toolkit.model.components.table",
    "toolkit.model.comparisons.comparisons",
    "toolkit.model.comparisons.means",
    "toolkit.model.offered.offered",
    "toolkit.model.settling.further",
    "toolkit.plot.effects.alt_comparisons",
    "toolkit.report.tables.plain",
    "toolkit.report.tables.anova",
    "toolkit.report.tables.components",
    "toolkit.decide.verdict.verdicts",
    "toolkit.decide.verdict.name_of",
    "toolkit.decide.analysis.analyse",
    "toolkit.campaign.steps.analyse",
    "toolkit.report.steps.report",
    "toolkit.decide.next_runs.next_runs",
    "toolkit.decide.reference_chart.chart",
    "toolkit.demo.lessons.truths",
    "toolkit.campaign.verify.verify",
    "toolkit.explain.entries.find",
)


@pytest.mark.parametrize("module", WITH_EXAMPLES)
def test_examples_print_what_they_say(module):
    found = doctest.testmod(import_module(module))
    assert (found.failed, found.attempted > 0) == (0, True)


@pytest.mark.parametrize("name", CALLED)
def test_what_a_person_calls_has_an_example(name):
    module, _, function = name.rpartition(".")
    assert ">>> " in (getattr(import_module(module), function).__doc__ or "")
