"""The command `wearbook`: one verb, one library call (rank 11).

Results go to stdout, what else there is to say to stderr; nothing heavy is imported before a verb needs it.
"""

from __future__ import annotations

import argparse
import json
import os
import shlex
import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from toolkit.errors import WearbookError

_PHASES = ("pilot", "main", "extension")
_EXIT = """exit codes: 0 done; 1 brief or data not in order; 2 wrong use; 3 a notebook failed half-way;
4 storage failed or another command holds the folder; 5 sealed or logged bytes changed; 130 interrupted"""


def parser() -> argparse.ArgumentParser:
    """The command's verbs and options."""
    top = argparse.ArgumentParser(
        prog="wearbook",
        epilog=_EXIT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
        description="Sized, randomised and analysed comparisons of wear on an engine dynamometer. "
        "The verbs stand in the order of the job.",
    )
    top.add_argument("--version", action="store_true", help="print the version and stop")
    verbs = top.add_subparsers(dest="verb", metavar="VERB")
    for name, told, example in (
        ("new", "start a campaign folder from the blank templates", "wearbook new my-campaign"),
        ("check", "find everything that is not in order", "wearbook check my-campaign"),
        ("size", "what each plan can show, and what it costs", "wearbook size my-campaign"),
        ("plan", "lay out, randomise and seal the next phase", "wearbook plan my-campaign --phase main"),
        (
            "sheets",
            "issue run sheets, registers and blank tables with blind codes",
            "wearbook sheets my-campaign --phase main --oil-at 0,20,40,60,80,100",
        ),
        (
            "intake",
            "take files in that came back, or the tables kept by hand in raw/",
            "wearbook intake my-campaign R05.xlsx measure-after.xlsx",
        ),
        (
            "note",
            "note a remark, a verdict or a corrected cell of a run, with reason and role",
            'wearbook note my-campaign R05 --verdict invalid --reason "coolant hose burst" --role "test engineer"',
        ),
        (
            "amend",
            "change a sealed plan: lost runs, another size, changed keys; with reason and role",
            'wearbook amend my-campaign --lost replace --run R05 --reason "hose burst" --role "test engineer"',
        ),
        ("status", "how far each run has come, what is missing, what comes next", "wearbook status my-campaign"),
        ("analyse", "what the valid runs say", "wearbook analyse my-campaign --json"),
        ("report", "write the report as one HTML file", "wearbook report my-campaign"),
        ("verify", "recompute every checksum; name what was changed", "wearbook verify my-campaign"),
        ("demo", "carry the bundled campaign from pilot to report", "wearbook demo --to trial"),
    ):
        verb = verbs.add_parser(
            name,
            help=told,
            description=f"{told[0].upper()}{told[1:]}.",
            formatter_class=argparse.RawDescriptionHelpFormatter,
            epilog=f"example:\n  {example}",
        )
        if name == "demo":
            verb.add_argument(
                "--to", metavar="FOLDER", default="wearbook-demo", help="the folder to make (default: wearbook-demo)"
            )
        else:
            verb.add_argument(
                "campaign",
                metavar="CAMPAIGN",
                nargs="?" if name != "new" else None,
                default="",
                help="the campaign folder (default: the current one or one above it)",
            )
        _of_taking(name, verb)
        _of_amending(name, verb)
        if name == "new":
            verb.add_argument(
                "--from-table",
                metavar="FILE",
                help="draft the brief from an old table of runs (CSV or xlsx); a copy of it is kept in raw/received",
            )
        verb.add_argument("--json", action="store_true", help="print one JSON document on stdout and nothing else")
        verb.add_argument("--debug", action="store_true", help="show the whole traceback of an error")
        if name == "plan":
            verb.add_argument("--phase", choices=_PHASES, help="default: the pilot, then main, then the extension")
        if name == "sheets":
            verb.add_argument("--phase", choices=_PHASES, help="default: the last phase that is sealed")
            verb.add_argument(
                "--oil-at",
                type=_hours,
                metavar="HOURS",
                help="when oil is sampled, hours into the run: 0,20,40 (default: at the start and the planned end)",
            )
        if name in ("size", "plan", "analyse", "report"):
            verb.add_argument(
                "--notebook",
                action="store_true",
                help="run the template notebook of this verb and keep the copy in derived/notebooks",
            )
    return top


def _of_taking(name: str, verb: argparse.ArgumentParser) -> None:
    """The options of intake, note and verify."""
    if name == "intake":
        verb.add_argument(
            "files", metavar="FILE", nargs="*", help="what came back (default: the tables kept by hand in raw/)"
        )
        verb.add_argument("--as", dest="as_name", metavar="NAME", default="", help="read by this [[received]] table")
        verb.add_argument(
            "--replace", metavar="OLD", default="", help="a file taken in before, which this one replaces"
        )
        verb.add_argument("--reason", metavar="TEXT", default="", help="why a file is replaced or lines changed")
        verb.add_argument("--role", metavar="ROLE", default="", help="the role, no name, of who says so")
    if name == "note":
        verb.add_argument("run", metavar="RUN", help="the run, as R05")
        verb.add_argument("--reason", metavar="TEXT", required=True, help="why, in one line")
        verb.add_argument("--role", metavar="ROLE", required=True, help="the role, no name, of who says so")
        verb.add_argument("--verdict", default="", help="valid, invalid, not-interpretable or pending")
        verb.add_argument("--column", metavar="NAME", default="", help="the cell of the run that is put right")
        verb.add_argument("--value", metavar="V", help="what stands in that cell from now on")
        verb.add_argument(
            "--after-look", action="store_true", help="note it though wear of the run has been seen; it is marked"
        )
    if name == "verify":
        verb.add_argument(
            "--quick", action="store_true", help="chain, seals and whether files are there; read none of them"
        )


def _of_amending(name: str, verb: argparse.ArgumentParser) -> None:
    """The options of amend."""
    if name != "amend":
        return
    verb.add_argument("--options", action="store_true", help="show the ways on for lost runs; writes nothing")
    verb.add_argument("--phase", choices=_PHASES, help="default: the last phase that is sealed")
    verb.add_argument("--reason", metavar="TEXT", default="", help="why, in one line")
    verb.add_argument("--role", metavar="ROLE", default="", help="the role, no name, of who says so")
    verb.add_argument(
        "--lost",
        metavar="WAY",
        help="repeat (behind all others), replace (in the build it was lost from) or without; "
        "left out: take up the keys of campaign.toml that changed since the seal",
    )
    verb.add_argument("--run", metavar="RUN", nargs="+", default=[], help="the lost runs (default: all judged so)")
    verb.add_argument("--keep", metavar="RUN", nargs="+", default=[], help="runs that are set up: their rows stay")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb; gives the exit code."""
    top = parser()
    words = sys.argv[1:] if arguments is None else arguments
    odd = [word for word in words if not _is_text(word)]
    if odd:
        print(f"wearbook: {ascii(odd[0])} holds bytes that are no text in UTF-8; rename it.", file=sys.stderr)
        return 2
    given = top.parse_args(words)
    if given.version:
        from importlib.metadata import version

        print(f"wearbook {version('wearbook')}")
        return 0
    if given.verb is None:
        top.print_help(sys.stderr)
        return 2
    # Read by numpy's linear algebra when it is first imported: small problems only lose time to threads.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        _VERBS[given.verb](given)
    except WearbookError as problem:
        if given.debug:
            raise
        print(f"wearbook {given.verb}: {problem}", file=sys.stderr)
        return problem.exit_code
    except KeyboardInterrupt:
        print("wearbook: interrupted; nothing is half-written.", file=sys.stderr)
        return 130
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    # What no module foresaw: a disk that fails while a font or a template is read.
    except OSError as problem:
        if given.debug:
            raise
        where, why = problem.filename or "storage", problem.strerror or problem
        print(f"wearbook {given.verb}: {where}: {why}; nothing is half-written. Repeat it then.", file=sys.stderr)
        return 4
    return 0


def _is_text(word: str) -> bool:
    """Whether a word of the command line can be written down: the system's other bytes are none of any text."""
    try:
        word.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True


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


def _hours(text: str) -> tuple[float, ...]:
    """Hours from the command line: numbers with commas between."""
    try:
        return tuple(float(word) for word in text.split(","))
    except ValueError as problem:
        raise argparse.ArgumentTypeError(
            f"'{text}' are no hours; expected numbers with commas between, as 0,20,40"
        ) from problem


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
    found = steps.size(campaign)
    _out(given, found, lambda: words.sized(found))
    _tell(
        "wrote derived/sizing.json",
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


_VERBS: dict[str, Callable[[argparse.Namespace], None]] = {
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
    "report": _report,
    "verify": _verify,
    "demo": _demo,
}
