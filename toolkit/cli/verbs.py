"""What each verb does: one library call, its result on stdout, what else there is to say on stderr (rank 11).

Nothing heavy is imported before a verb needs it.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

from toolkit.cli import whole
from toolkit.cli.closing import close, document, named, out, tell


def _choose(campaign: Any) -> str:
    """What comes after sizing: to choose, to seal what is chosen, or neither where it is sealed."""
    from toolkit.campaign import sizing

    phase = sizing.phase_of(campaign)
    section = "extension" if phase == "extension" else "plan"
    if campaign.sealed(phase):
        return f"the {phase} phase is sealed; wearbook status CAMPAIGN"
    if sizing.chosen(campaign.brief, phase):
        return f"wearbook plan CAMPAIGN --phase {phase} seals what [{section}] of campaign.toml chooses"
    return (
        f"write your choice into [{section}] of campaign.toml (derived/chosen-plan.toml holds the lines), then "
        f"wearbook plan CAMPAIGN"
    )


def _count(number: int, one: str, more: str) -> str:
    """A count with its word."""
    return f"{number} {one if number == 1 else more}"


def _campaign(given: argparse.Namespace) -> Any:
    """The campaign the command names."""
    from toolkit.campaign import folder

    tried = getattr(given, "tried_out", None)
    return folder.open_campaign(given.campaign if tried is None else tried.copy)


def _notebook(given: argparse.Namespace, campaign: Any) -> bool:
    """Run the verb's template when asked, in place of the verb itself; True when it was."""
    if not getattr(given, "notebook", False):
        return False
    from toolkit.report import notebooks

    told = {
        "phase": getattr(given, "phase", None),
        "oil_at": ", ".join(f"{hour:g}" for hour in getattr(given, "oil_at", None) or ()),
        "files": "; ".join(str(Path(name).absolute()) for name in getattr(given, "files", ())),
    }
    made = notebooks.run_template(
        given.verb, campaign.folder, parameters={name: value for name, value in told.items() if value}
    )
    if given.json:
        document(given, {"notebook": str(made)})
    else:
        print(made)
    close(given, str(made), "open it in JupyterLab: wearbook lab CAMPAIGN", campaign=campaign)
    return True


def _new(given: argparse.Namespace) -> None:
    """Start a campaign folder."""
    from toolkit.campaign import start

    tried = getattr(given, "tried_out", None)
    made = start.new(
        Path(given.campaign) if tried is None else tried.copy,
        table=Path(given.from_table) if given.from_table else None,
        answers=whole.answers(given),
    )
    out(given, made, lambda: "\n".join(str(path) for path in made.written))
    edit = "answer every '?' in" if given.from_table else "edit"
    close(
        given,
        f"{len(made.written)} files",
        f"{edit} {given.campaign}/campaign.toml, or open it with wearbook lab CAMPAIGN",
        "then wearbook check CAMPAIGN",
    )


def _check(given: argparse.Namespace) -> None:
    """Check a campaign."""
    from toolkit.campaign import steps
    from toolkit.cli import words

    found = steps.check(_campaign(given))
    out(given, found, lambda: words.checked(found))
    close(given, "nothing", campaign=found.campaign)


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
    out(given, found, lambda: words.sized(found))
    close(given, "derived/sizing.json, derived/chosen-plan.toml", _choose(campaign))


def _simulate(given: argparse.Namespace, campaign: Any) -> None:
    """Check the plan of a campaign by simulation."""
    from toolkit.campaign import simulating
    from toolkit.cli import simulation

    made = simulating.simulated(campaign, campaigns=given.simulate, progress=simulation.progress(sys.stderr))
    out(given, made, lambda: simulation.text(made))
    tell(simulation.times(made))
    close(given, "derived/simulated.json", _choose(campaign))


def _plan(given: argparse.Namespace) -> None:
    """Plan and seal a phase."""
    from toolkit.campaign import steps
    from toolkit.cli import words

    campaign = _campaign(given)
    if _notebook(given, campaign):
        return
    made = steps.plan(campaign, phase=given.phase)
    out(given, made, lambda: words.planned(made))
    where = made.written[0].parent.relative_to(campaign.folder)
    close(given, f"{where}/runs.csv, plan.json, plan.html and blank/ (tables to fill in)", campaign=campaign)


def _sheets(given: argparse.Namespace) -> None:
    """Issue the sheets of a sealed phase."""
    from toolkit.campaign import sheets
    from toolkit.cli import words

    campaign = _campaign(given)
    if _notebook(given, campaign):
        return
    made = sheets.issue(campaign, phase=given.phase, hours=given.oil_at)
    out(given, made, lambda: words.issued(made))
    close(
        given,
        f"{len(made.written)} files" if made.written else "nothing: all was issued already",
        "print all.html or hand out the workbooks; hand over blind/ alone to metrology and laboratory",
        campaign=campaign,
    )


def _intake(given: argparse.Namespace) -> None:
    """Take files in, or one back."""
    from toolkit.campaign import taking
    from toolkit.cli import progress

    campaign = _campaign(given)
    if given.take_back:
        _take_back(given, campaign)
        return
    if _notebook(given, campaign):
        return
    made = taking.take(
        campaign,
        given.files,
        as_name=given.as_name,
        replace=given.replace,
        reason=given.reason,
        role=given.role,
        after_look=given.after_look,
    )
    out(given, made, lambda: progress.taken(made))
    copies = [item for item in made.new if not item.recording]
    kept = f"{_count(len(copies), 'copy', 'copies')} to raw/received/ and raw/manifest.csv"
    listed = "raw/manifest.csv; recordings stay in raw/dyno/"
    close(
        given,
        (kept if copies else listed) if made.new else "nothing: all was taken in already",
        campaign=campaign,
    )


def _take_back(given: argparse.Namespace, campaign: Any) -> None:
    """Take back a file that was taken in."""
    from toolkit.campaign import taken_back
    from toolkit.cli import progress
    from toolkit.errors import CampaignError, Fault, raise_all

    named = {"FILE": given.files, "--as": given.as_name, "--replace": given.replace, "--notebook": given.notebook}
    faults = [
        Fault(f"{name} and --take-back", "both", "one of them", "Do one after the other.")
        for name, value in named.items()
        if value
    ]
    raise_all(CampaignError, taken_back.HEADLINE, faults)
    made = taken_back.take_back(
        campaign, given.take_back, reason=given.reason, role=given.role, after_look=given.after_look
    )
    out(given, made, lambda: progress.taken_back(made))
    close(given, "a row of log.csv", campaign=campaign)


def _note(given: argparse.Namespace) -> None:
    """Note something on a run."""
    from toolkit.campaign import notes
    from toolkit.cli import progress

    campaign = _campaign(given)
    made = notes.note(
        campaign,
        given.run,
        reason=given.reason,
        role=given.role,
        verdict=given.verdict,
        column=given.column,
        value=given.value,
        after_look=given.after_look,
    )
    out(given, made, lambda: progress.noted(made))
    close(given, "a row of log.csv" if made.written else "nothing", campaign=campaign)


def _amend(given: argparse.Namespace) -> None:
    """Amend a sealed plan, or show the ways on."""
    from toolkit.campaign import amend, in_force, ways_on
    from toolkit.cli import amending

    campaign = _campaign(given)
    if given.options:
        found = ways_on.options(campaign, phase=given.phase, runs=given.run, keep=given.keep)
        out(given, found, lambda: amending.ways(found))
        # Without it the last sealed phase is amended.
        named_phase = "" if found.phase == in_force.phase_of(campaign, None) else f" --phase {found.phase}"
        close(given, "nothing", f"wearbook amend CAMPAIGN{named_phase} --lost WAY --reason TEXT --role ROLE")
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
    out(given, made, lambda: amending.amended(made))
    where = made.written[0].parent.relative_to(campaign.folder)
    phase = made.order.design.phase
    close(
        given,
        f"{where}/runs.csv, plan.json, plan.html; the plan before it is kept in "
        f"{made.written[-1].relative_to(campaign.folder)}",
        f"wearbook sheets CAMPAIGN --phase {phase} (sheets of unchanged rows stay good)",
    )


def _status(given: argparse.Namespace) -> None:
    """Tell where a campaign stands."""
    from toolkit.campaign import status
    from toolkit.cli import progress

    found = status.status(_campaign(given))
    out(given, found, lambda: progress.stood(found).replace(" CAMPAIGN ", f"{named(given)} "))
    close(given, "nothing", *found.next)


def _analyse(given: argparse.Namespace) -> None:
    """Analyse a campaign."""
    from toolkit import copies
    from toolkit.campaign import steps
    from toolkit.cli import words

    campaign = _campaign(given)
    if _notebook(given, campaign):
        return
    with copies.copied() as copy:
        found = steps.analyse(campaign, copy=copy)
    out(given, found, lambda: words.analysed(found))
    close(given, "derived/analysis.json and the tables beside it", campaign=campaign)
    _primary_answered(found)


def _next(given: argparse.Namespace) -> None:
    """Advise on further runs."""
    from toolkit.campaign import further
    from toolkit.cli import words

    found = further.advice(_campaign(given))
    out(given, found, lambda: words.further(found))
    # Where no extension is covered, or none pays, none is spoken of.
    planned = "; an [extension] is planned with wearbook plan CAMPAIGN" if len(found.ways.table) else ""
    close(given, "a look into log.csv", f"decide{planned}")


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
    from toolkit import copies
    from toolkit.errors import CampaignError
    from toolkit.report import show, steps

    campaign = _campaign(given)
    if _notebook(given, campaign):
        return
    # Loaded by the copy while records are read here.
    with copies.copied(show.load) as copy:
        made = steps.report(campaign, pdf=given.pdf, copy=copy)
    out(given, made, lambda: "\n".join(str(path) for path in made.files))
    files = ", ".join(str(path.relative_to(campaign.folder)) for path in made.files)
    steps_on = ["open it in a browser" if given.pdf else "open it in a browser; print it from there, or --pdf"]
    printed = made.path.with_suffix(".pdf")
    if made.pdf is None and printed.exists():
        old = printed.relative_to(campaign.folder)
        steps_on.append(f"{old} is of an earlier report; print it anew: wearbook report CAMPAIGN --pdf")
    close(given, files, *steps_on)
    if given.pdf and made.pdf is None:
        raise CampaignError(made.no_pdf)
    _primary_answered(made.analysis)


def _verify(given: argparse.Namespace) -> None:
    """Verify seals and log."""
    from toolkit.campaign import verify

    campaign = _campaign(given)
    found = verify.verify(campaign, quick=given.quick)
    out(given, found, lambda: "\n".join(found.lines))
    close(given, "nothing", campaign=campaign)


def _explain(given: argparse.Namespace) -> None:
    """Explain a key, a verb or a word."""
    from toolkit.cli import explaining

    explaining.explain(given)


def _demo(given: argparse.Namespace) -> None:
    """Carry the bundled campaign through."""
    from toolkit.cli import demo

    made = demo.run(Path(given.to), tell=tell)
    out(given, made, lambda: str(made.path))


VERBS: dict[str, Callable[[argparse.Namespace], int | None]] = {
    "new": _new,
    "check": _check,
    "size": _size,
    "plan": _plan,
    "book": lambda given: whole.book(given, _campaign(given)),
    "sheets": _sheets,
    "intake": _intake,
    "note": _note,
    "amend": _amend,
    "status": _status,
    "analyse": _analyse,
    "next": _next,
    "report": _report,
    "notebooks": lambda given: whole.notebooks(given, _campaign(given)),
    "lab": lambda given: whole.lab(given, _campaign(given)),
    "rerun": whole.rerun,
    "verify": _verify,
    "explain": _explain,
    "demo": _demo,
}
