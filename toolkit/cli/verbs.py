"""What each verb does: one library call, its result on stdout, what else there is to say on stderr (rank 11).

Nothing heavy is imported before a verb needs it.
"""

from __future__ import annotations

import argparse
import json
import shlex
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any


def _out(given: argparse.Namespace, result: Any, text: Callable[[], str]) -> None:
    """The result on stdout: JSON when asked for, else text."""
    if given.json:
        print(json.dumps(result.to_json(), indent=1, ensure_ascii=False, allow_nan=False))
    else:
        print(text())


def _tell(*lines: str) -> None:
    """Lines on stderr."""
    for line in lines:
        print(line, file=sys.stderr)


def _count(number: int, one: str, more: str) -> str:
    """A count with its word."""
    return f"{number} {one if number == 1 else more}"


def _campaign(given: argparse.Namespace) -> Any:
    """The campaign the command names."""
    from toolkit.campaign import folder

    return folder.open_campaign(given.campaign)


def _named(given: argparse.Namespace) -> str:
    """The campaign as the person typed it, for the next command."""
    return f" {shlex.quote(given.campaign)}" if given.campaign else ""


def _notebook(given: argparse.Namespace, campaign: Any) -> bool:
    """Run the verb's template when asked, in place of the verb itself; True when it was."""
    if not getattr(given, "notebook", False):
        return False
    from toolkit.report import notebooks

    phase = getattr(given, "phase", None)
    made = notebooks.run_template(given.verb, campaign.folder, parameters={"phase": phase} if phase else None)
    print(json.dumps({"notebook": str(made)}) if given.json else made)
    _tell(f"wrote {made}", "next: open it in JupyterLab")
    return True


def _new(given: argparse.Namespace) -> None:
    """Start a campaign folder."""
    from toolkit.campaign import start

    made = start.new(Path(given.campaign), table=Path(given.from_table) if given.from_table else None)
    _out(given, made, lambda: "\n".join(str(path) for path in made.written))
    edit = "answer every '?' in" if given.from_table else "edit"
    _tell(
        f"wrote {len(made.written)} files",
        f"next: {edit} {given.campaign}/campaign.toml, then wearbook check {given.campaign}",
    )


def _check(given: argparse.Namespace) -> None:
    """Check a campaign."""
    from toolkit.campaign import steps
    from toolkit.cli import words

    found = steps.check(_campaign(given))
    _out(given, found, lambda: words.checked(found))
    made = found.campaign.sealed("main") or found.campaign.brief.old_data is not None
    after = "analyse" if made else "size"
    _tell("wrote nothing", f"next: wearbook {after}{_named(given)}")


def _size(given: argparse.Namespace) -> None:
    """Size a campaign."""
    from toolkit.campaign import steps
    from toolkit.cli import words

    campaign = _campaign(given)
    if _notebook(given, campaign):
        return
    if given.simulate is not None:
        _simulate(given, campaign)
        return
    found = steps.size(campaign)
    _out(given, found, lambda: words.sized(found))
    _tell(
        "wrote derived/sizing.json, derived/chosen-plan.toml",
        "next: write your choice into [plan] of campaign.toml (derived/chosen-plan.toml holds the lines), then "
        "wearbook plan" + _named(given),
    )


def _simulate(given: argparse.Namespace, campaign: Any) -> None:
    """Check the plan of a campaign by simulation."""
    from toolkit.campaign import simulating
    from toolkit.cli import simulation

    made = simulating.simulated(campaign, campaigns=given.simulate, progress=simulation.progress(sys.stderr))
    _out(given, made, lambda: simulation.text(made))
    _tell(
        simulation.times(made),
        "wrote derived/simulated.json",
        "next: write your choice into [plan] of campaign.toml, then wearbook plan" + _named(given),
    )


def _plan(given: argparse.Namespace) -> None:
    """Plan and seal a phase."""
    from toolkit.campaign import steps
    from toolkit.cli import words

    campaign = _campaign(given)
    if _notebook(given, campaign):
        return
    made = steps.plan(campaign, phase=given.phase)
    _out(given, made, lambda: words.planned(made))
    where = made.written[0].parent.relative_to(campaign.folder)
    phase = made.order.design.phase
    _tell(
        f"wrote {where}/runs.csv, plan.json, plan.html and blank/ (tables to fill in)",
        "next: make the runs, put the filled-in tables into raw/ (lines of a later phase below those of the one "
        "before), then "
        f"wearbook {'size' if phase == 'pilot' else 'analyse'}{_named(given)}",
    )


def _sheets(given: argparse.Namespace) -> None:
    """Issue the sheets of a sealed phase."""
    from toolkit.campaign import sheets
    from toolkit.cli import words

    made = sheets.issue(_campaign(given), phase=given.phase, hours=given.oil_at)
    _out(given, made, lambda: words.issued(made))
    _tell(
        f"wrote {len(made.written)} files" if made.written else "wrote nothing: all was issued already",
        "next: print all.html or hand out the workbooks; hand over blind/ alone to metrology and laboratory; when "
        f"records are in raw/: wearbook check{_named(given)}",
    )


def _intake(given: argparse.Namespace) -> None:
    """Take files in."""
    from toolkit.campaign import taking
    from toolkit.cli import progress

    campaign = _campaign(given)
    made = taking.take(
        campaign,
        given.files,
        as_name=given.as_name,
        replace=given.replace,
        reason=given.reason,
        role=given.role,
    )
    _out(given, made, lambda: progress.taken(made))
    _tell(
        f"wrote {_count(len(made.new), 'copy', 'copies')} to raw/received/ and raw/manifest.csv"
        if made.new
        else "wrote nothing: all was taken in already",
        f"next: wearbook status{_named(given)}",
    )


def _note(given: argparse.Namespace) -> None:
    """Note something on a run."""
    from toolkit.campaign import notes
    from toolkit.cli import progress

    made = notes.note(
        _campaign(given),
        given.run,
        reason=given.reason,
        role=given.role,
        verdict=given.verdict,
        column=given.column,
        value=given.value,
        after_look=given.after_look,
    )
    _out(given, made, lambda: progress.noted(made))
    _tell("wrote a row of log.csv" if made.written else "wrote nothing", f"next: wearbook status{_named(given)}")


def _amend(given: argparse.Namespace) -> None:
    """Amend a sealed plan, or show the ways on."""
    from toolkit.campaign import amend, ways_on
    from toolkit.cli import amending

    campaign = _campaign(given)
    if given.options:
        found = ways_on.options(campaign, phase=given.phase, runs=given.run, keep=given.keep)
        _out(given, found, lambda: amending.ways(found))
        _tell("wrote nothing", f"next: wearbook amend{_named(given)} --lost WAY --reason TEXT --role ROLE")
        return
    made = amend.amend(
        campaign,
        reason=given.reason,
        role=given.role,
        phase=given.phase,
        lost=given.lost,
        runs=given.run,
        keep=given.keep,
    )
    _out(given, made, lambda: amending.amended(made))
    where = made.written[0].parent.relative_to(campaign.folder)
    phase = made.order.design.phase
    _tell(
        f"wrote {where}/runs.csv, plan.json, plan.html; the plan before it is kept in "
        f"{made.written[-1].relative_to(campaign.folder)}",
        f"next: wearbook sheets{_named(given)} --phase {phase} (sheets of unchanged rows stay good)",
    )


def _status(given: argparse.Namespace) -> None:
    """Tell where a campaign stands."""
    from toolkit.campaign import status
    from toolkit.cli import progress

    found = status.status(_campaign(given))
    _out(given, found, lambda: progress.stood(found))
    _tell("wrote nothing", *(f"next: {step.replace(' CAMPAIGN', _named(given))}" for step in found.next))


def _analyse(given: argparse.Namespace) -> None:
    """Analyse a campaign."""
    from toolkit.campaign import steps
    from toolkit.cli import words

    campaign = _campaign(given)
    if _notebook(given, campaign):
        return
    found = steps.analyse(campaign)
    _out(given, found, lambda: words.analysed(found))
    _tell("wrote derived/analysis.json and the tables beside it", f"next: wearbook report{_named(given)}")
    _primary_answered(found)


def _next(given: argparse.Namespace) -> None:
    """Advise on further runs."""
    from toolkit.campaign import further
    from toolkit.cli import words

    found = further.next_runs(_campaign(given))
    _out(given, found, lambda: words.further(found))
    _tell("wrote a look into log.csv", f"next: decide; an [extension] is planned with wearbook plan{_named(given)}")


def _primary_answered(found: Any) -> None:
    """Leave with exit code 1 when the response that the decision rests on could not be analysed.

    Raises
    ------
    ModelError
        With the reason and the ways out; all that could be told is written already.
    """
    from toolkit.errors import ModelError

    first = next(iter(found.responses.values()))
    if first.stopped:
        raise ModelError(f"the primary response was not analysed: {first.stopped}")


def _report(given: argparse.Namespace) -> None:
    """Write the report."""
    from toolkit.report import steps

    campaign = _campaign(given)
    if _notebook(given, campaign):
        return
    made = steps.report(campaign)
    _out(given, made, lambda: str(made.path))
    _tell(f"wrote {made.path.relative_to(campaign.folder)}", "next: open it in a browser; print it from there")
    _primary_answered(made.analysis)


def _verify(given: argparse.Namespace) -> None:
    """Verify seals and log."""
    from toolkit.campaign import verify

    found = verify.verify(_campaign(given), quick=given.quick)
    _out(given, found, lambda: "\n".join(found.lines))
    _tell("wrote nothing", f"next: wearbook analyse{_named(given)}")


def _demo(given: argparse.Namespace) -> None:
    """Carry the bundled campaign through."""
    from toolkit.cli import demo

    made = demo.run(Path(given.to), tell=_tell)
    _out(given, made, lambda: str(made.path))


VERBS: dict[str, Callable[[argparse.Namespace], None]] = {
    "new": _new,
    "check": _check,
    "size": _size,
    "plan": _plan,
    "sheets": _sheets,
    "intake": _intake,
    "note": _note,
    "amend": _amend,
    "status": _status,
    "analyse": _analyse,
    "next": _next,
    "report": _report,
    "verify": _verify,
    "demo": _demo,
}
