"""Sizing on a campaign folder: which phase is sized, with which scatter, beside which runs (rank 9). Writes nothing."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pandas as pd

from toolkit.brief import by_position, extensions
from toolkit.brief.model import Brief
from toolkit.campaign import earlier, log
from toolkit.campaign.folder import Campaign
from toolkit.design import base, units
from toolkit.design.design import Design
from toolkit.errors import DesignError, SizingError, WearbookError
from toolkit.intake import gauge, judged_rows
from toolkit.intake.records import Records
from toolkit.model import gauge_study
from toolkit.model.gauge_study import GaugeStudy
from toolkit.size import advice, habit_cost, promise, scatter
from toolkit.size import options as size_options
from toolkit.size.habit_cost import HabitCost
from toolkit.size.options import Options
from toolkit.size.scatter import Scatter


def phase_of(campaign: Campaign) -> str:
    """The phase that is sized: main, and once it is sealed the extension where the brief has one."""
    return "extension" if campaign.brief.extension is not None and campaign.sealed("main") else "main"


def chosen(brief: Brief, phase: str) -> bool:
    """True when the brief says how large the main phase, or the extension, is."""
    if phase == "extension":
        given = brief.extension
        return given is not None and bool(given.builds or given.replicates or given.design != extensions.SAME)
    return bool(brief.plan.builds or brief.plan.replicates)


def sizing_of(campaign: Campaign, found: Records, *, also: Design | None = None) -> Options:
    """The sizing from records already read, with a chosen design among the plans.

    An extension is sized beside the runs of the main phase that count or still may.

    Raises
    ------
    SizingError
        When the primary response's scatter is not known.
    """
    brief = campaign.brief
    phase = phase_of(campaign) if also is None else also.phase
    if phase != "extension" and base.joined(brief):
        # What an extension will tell besides is not sized with the phases before it.
        brief = base.alone(brief)
    scatters, unknown = known(campaign, found, phase=phase)
    first = next(item.name for item in brief.responses if item.role == "primary")
    if first in unknown:
        raise unknown[first]
    beside = standing(brief, found.runs, but="extension") if phase == "extension" else None
    made = size_options.options(brief, scatters, also=also, standing=beside)
    # A plan that is being sealed needs no advice any more.
    told = advice.of_options(made, standing=beside) if also is None else None
    said = () if told is None else told.notes
    habits = None if told is None else _habits(made, told.plan.design, beside)
    notes = (*made.notes, *said, *(str(problem) for problem in unknown.values()))
    return replace(made, advice=told, habits=habits, notes=notes)


def _habits(made: Options, design: Design, beside: pd.DataFrame | None) -> HabitCost | None:
    """What habits would claim wrongly beside a plan; None where the scatter does not tell it."""
    first = next(item.name for item in made.brief.responses if item.role == "primary")
    known_of = next(item for item in made.scatters if item.response.name == first)
    if by_position.divided(made.brief):
        return None
    try:
        return habit_cost.habit_cost(made.brief, promise.as_judged([design], beside)[0], known_of, plan=design.name)
    except (DesignError, SizingError):
        return None


def known(campaign: Campaign, found: Records, *, phase: str = "main") -> tuple[list[Scatter], dict[str, SizingError]]:
    """The scatter known before a phase, one a response; response to why it is not known for the others.

    Before an extension it is that of the main phase, once its results were looked at.

    Examples
    --------
    The chain campaign when its pilot is back; the history of the rig counts too:

    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("chain-soot", place, phases=("pilot",), recordings=False)
    ...     records = campaign.records()
    >>> scatters, unknown = known(campaign, records)
    >>> [f"{scatter.response.name}: SD of ln {scatter.sd:.3f}, {scatter.run.df:g} df" for scatter in scatters]
    ['elongation_pct: SD of ln 0.127, 10 df', 'fe_ppm: SD of ln 0.133, 10 df']
    >>> unknown
    {}
    """
    looked = any(row["kind"] == log.LOOK for row in log.read(campaign.folder)) if phase == "extension" else False
    history, study = earlier.with_campaigns(campaign, found.history), _gauge(campaign)
    wrong = (study,) if isinstance(study, str) else ()
    made, unknown = [], {}
    for response in campaign.brief.responses:
        mine = judged_rows.judged_by(found, response.name)
        try:
            one = scatter.known(
                mine.brief,
                response.name,
                # What an extension itself shows is not looked at for its own sizing.
                runs=mine.runs[mine.runs["phase"] != "extension"],
                stations=mine.stations,
                readings=mine.readings,
                history=history,
                phase="main" if looked else "pilot",
                gauge=None if isinstance(study, str) else study,
            )
            made.append(replace(one, notes=(*one.notes, *wrong)))
            wrong = ()
        except SizingError as problem:
            unknown[response.name] = problem
    return made, unknown


def _gauge(campaign: Campaign) -> GaugeStudy | str | None:
    """The gauge study of the campaign, or why it cannot be used; None where there is none."""
    try:
        table = gauge.read(campaign.folder)
        return None if table is None or table.empty else gauge_study.study(table, conf_level=campaign.brief.conf_level)
    except WearbookError as problem:
        return f"the gauge study ({gauge.NAME}) cannot be used: {' '.join(str(problem).split())}"


def standing(brief: Brief, runs: pd.DataFrame, *, but: str = "") -> pd.DataFrame:
    """The runs of the phases that count which are valid or still may be, without those of one phase."""
    counts = runs["phase"].isin([phase for phase in brief.counted_phases if phase != but])
    chosen = runs[counts & runs["verdict"].isin(["valid", "pending"])]
    return chosen[["run_id", "phase", *units.id_columns(brief), *by_position.columns(brief)]].reset_index(drop=True)


def claims_of(campaign: Campaign, found: Records, design: Design) -> dict[str, Any]:
    """The claims of the chosen plan for plan.json, or why they cannot be told."""
    try:
        whole = sizing_of(campaign, found, also=design).to_json()
    except SizingError as problem:
        return {"scatter": [], "option": None, "sentence": f"Not sized: {problem}"}
    chosen = next(option for option in whole["options"] if option["name"] == design.name)
    return {"scatter": whole["scatter"], "option": chosen, "sentence": whole["sentence"]}
