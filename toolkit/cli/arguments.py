"""The verbs of the command and their options, as argparse reads them (rank 11)."""

from __future__ import annotations

import argparse
import re
from collections.abc import Sequence
from typing import Any, NoReturn

from toolkit.cli.closing import LOOKS
from toolkit.errors import nearest

_PHASES = ("pilot", "main", "extension")
# Those that leave --dry-run out write nothing (check, status, verify, rerun, explain), or run notebooks and JupyterLab,
# whose cells a person may have written (notebooks, lab), or make a folder of their own to try things in (demo).
WRITING = ("new", "size", "plan", "book", "sheets", "intake", "note", "amend", "analyse", "next", "report")
# Other words for what an option asks for, which are not spelt like it.
_OTHER_WORDS = {"because": "reason", "why": "reason", "who": "role", "by": "role"}
_EXIT = """exit codes: 0 done; 1 brief or data not in order; 2 wrong use; 3 a notebook failed half-way;
4 storage failed or another command holds the folder; 5 sealed or logged bytes changed; 130 interrupted"""


class _Parser(argparse.ArgumentParser):
    """The parser that names what was probably meant by a verb, option or word it does not know."""

    def error(self, message: str) -> NoReturn:
        """Leave with exit code 2 and what was probably meant."""
        wrong = re.search(r"invalid choice: '([^']*)' \(choose from (.*)\)$", message)
        meant = nearest(wrong[1], re.findall(r"[\w-]+", wrong[2])) if wrong else ""
        super().error(f"{message}. {meant}" if meant else message)

    def parse_args(self, args: Sequence[str] | None = None, namespace: Any = None) -> Any:  # type: ignore[override]
        """Read the words; an option that the verb does not have is told with the one that was probably meant."""
        given, odd = self.parse_known_args(args, namespace)
        if odd:
            below = next(item.choices for item in self._actions if isinstance(item, argparse._SubParsersAction))
            verb = below.get(given.verb, self)
            options = [name.removeprefix("--") for name in verb._option_string_actions if name.startswith("--")]
            wrong = odd[0].partition("=")[0].lstrip("-")
            # The dashes are alike in all of them and say nothing of what was meant.
            meant = nearest(_OTHER_WORDS.get(wrong, wrong), options).replace("'", "'--", 1)
            verb.error(f"unrecognised arguments: {' '.join(odd)}" + (f". {meant}" if meant else ""))
        return given


def parser() -> argparse.ArgumentParser:
    """The command's verbs and options."""
    top = _Parser(
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
        ("book", "dates of a sealed phase as a table and a calendar file", "wearbook book my-campaign"),
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
        ("next", "which further runs would tell most about what is open", "wearbook next my-campaign"),
        ("report", "write the report as one HTML file, and as PDF", "wearbook report my-campaign --pdf"),
        ("verify", "recompute every checksum; name what was changed", "wearbook verify my-campaign"),
        ("lab", "open JupyterLab on a campaign, the templates at hand", "wearbook lab my-campaign"),
        (
            "notebooks",
            "run the templates in order, headless, of every step the campaign has come to",
            "wearbook notebooks my-campaign",
        ),
        (
            "rerun",
            "work campaigns out again from their raw files and compare with what is stored",
            "wearbook rerun campaigns/*",
        ),
        (
            "explain",
            "what a key, a verb, a word of a message, a file or a picture means",
            "wearbook explain plan.builds",
        ),
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
        elif name == "explain":
            verb.add_argument(
                "word", metavar="WORD", nargs="*", help="what is to be explained (default: the list of all names)"
            )
        elif name == "rerun":
            verb.add_argument("folders", metavar="FOLDER", nargs="+", help="the campaign folders")
            verb.add_argument(
                "--processes", metavar="N", type=_one_or_more, help="how many at once (default: two, on two cores)"
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
            _of_new(verb)
        if name != "lab":
            verb.add_argument("--json", action="store_true", help="print one JSON document on stdout and nothing else")
        else:
            verb.add_argument("--no-browser", action="store_true", help="open no browser; print the address alone")
            verb.add_argument("--port", metavar="N", type=_one_or_more, help="default: the first free one from 8888 on")
        if name == "report":
            verb.add_argument("--pdf", action="store_true", help="print it to PDF too, by chromium where there is one")
        if name in WRITING:
            verb.add_argument(
                "--dry-run",
                action="store_true",
                help="say what would be written, refuse what would be refused, and write nothing"
                + (" (shows no results: a look at wear has to be on record)" if name in LOOKS else ""),
            )
        verb.add_argument("--debug", action="store_true", help="show the whole traceback of an error")
        if name == "size":
            verb.add_argument(
                "--simulate",
                metavar="N",
                nargs="?",
                type=_campaigns,
                const=5_000,
                help="check the chosen plan, else the recommended one, by simulating N campaigns (5,000 when left out) "
                "under each of several conditions; writes derived/simulated.json",
            )
        if name == "plan":
            verb.add_argument("--phase", choices=_PHASES, help="default: the pilot, then main, then the extension")
        if name == "book":
            verb.add_argument("--phase", choices=_PHASES, help="default: the last phase that is sealed")
        if name == "sheets":
            verb.add_argument("--phase", choices=_PHASES, help="default: the last phase that is sealed")
            verb.add_argument(
                "--oil-at",
                type=_hours,
                metavar="HOURS",
                help="when oil is sampled, hours into the run: 0,20,40 (default: as issued before, at first at the "
                "start and the planned end)",
            )
        if name in ("size", "plan", "sheets", "intake", "analyse", "report"):
            verb.add_argument(
                "--notebook",
                action="store_true",
                help="run the template notebook of this verb and keep the copy in derived/notebooks",
            )
    return top


def _of_new(verb: argparse.ArgumentParser) -> None:
    """The options of new: answers that are not asked for then."""
    verb.add_argument("--question", metavar="TEXT", help="what is asked, in one sentence")
    verb.add_argument(
        "--factor",
        metavar="LINE",
        action="append",
        default=[],
        help="what is varied, as 'pin: part: P0 = ground, P1 = coated': its name, what is undone to change it (build, "
        "part, fill, setting), its levels, the first as it is today; once for each factor",
    )
    verb.add_argument("--response", metavar="NAME", help="what is measured, with its unit at the end: wear_um")
    verb.add_argument("--stations", metavar="N", type=_whole, help="places on a part measured a run; 0: one figure")
    verb.add_argument("--worthwhile-pct", metavar="P", type=_per_cent, help="change that would be worthwhile, per cent")
    verb.add_argument("--seed", metavar="N", type=_whole, help="every random order follows from it (default: 1)")
    verb.add_argument("--yes", action="store_true", help="ask nothing, take the placeholders of the template")


def _per_cent(text: str) -> float:
    """A number of per cent, written without its sign."""
    try:
        found = float(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}'; expected per cent as a plain number, such as 20 or 12.5") from None
    if not 0.0 < found < 100.0:
        raise argparse.ArgumentTypeError(f"'{text}'; expected more than 0 and less than 100, without a sign")
    return found


def _whole(text: str, least: int = 0) -> int:
    """A whole number from the least up; Python reads no number of thousands of digits."""
    if not text.isascii() or not text.isdigit() or len(text) > 18 or int(text) < least:
        shown = text if len(text) <= 40 else f"{text[:39]}…"
        raise argparse.ArgumentTypeError(f"'{shown}'; expected a whole number from {least} up")
    return int(text)


def _one_or_more(text: str) -> int:
    """A whole number from 1 up."""
    return _whole(text, 1)


def _campaigns(text: str) -> int:
    """How many campaigns are simulated: as many as ``size.simulate`` takes."""
    if not text.isascii() or not text.isdigit() or not 100 <= int(text[:9]) <= 10_000_000:
        raise argparse.ArgumentTypeError(f"'{text}'; expected a whole number from 100 to 10000000")
    return int(text)


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
        verb.add_argument(
            "--take-back",
            metavar="OLD",
            default="",
            help="a file taken in by mistake: it counts nowhere from now on, and the log keeps why",
        )
        verb.add_argument(
            "--after-look",
            action="store_true",
            help="replace it, take it back or change a table though wear of its runs has been seen; it is marked",
        )
        verb.add_argument(
            "--reason", metavar="TEXT", default="", help="why a file is replaced or taken back, or lines changed"
        )
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


def _hours(text: str) -> tuple[float, ...]:
    """Hours from the command line: numbers with commas between."""
    try:
        return tuple(float(word) for word in text.split(","))
    except ValueError as problem:
        raise argparse.ArgumentTypeError(
            f"'{text}' are no hours; expected numbers with commas between, as 0,20,40"
        ) from problem
