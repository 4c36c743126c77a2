"""The verbs that go over a whole campaign or many: book, notebooks, lab, rerun; and the answers of new (rank 11)."""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from toolkit.cli.closing import close, out, so_far, tell

if TYPE_CHECKING:
    from toolkit.campaign.first_answers import FirstAnswers

_SHOWN = 40


def answers(given: argparse.Namespace) -> FirstAnswers | None:
    """What a new campaign is begun with: the options, or what is asked in a terminal; None: the placeholders.

    Raises
    ------
    WearbookError
        When the options do not fit each other.
    """
    from dataclasses import replace

    from toolkit.campaign import start
    from toolkit.campaign.first_answers import FirstAnswers, factor_of
    from toolkit.errors import CampaignError

    told: dict[str, Any] = {
        "question": given.question,
        "seed": given.seed,
        "factors": tuple(map(factor_of, given.factor)) or None,
        "response": given.response,
        "stations": given.stations,
        "worthwhile_change_pct": given.worthwhile_pct,
    }
    told = {key: value for key, value in told.items() if value is not None}
    if given.from_table:
        if told:
            raise CampaignError("--from-table drafts the brief from the table; leave the other options out.")
        return None
    first = replace(FirstAnswers(start.id_of(Path(given.campaign))), **told)
    if told or given.yes or given.json or not (sys.stdin.isatty() and sys.stderr.isatty()):
        return first
    from toolkit.cli import asking

    start.require_free(Path(given.campaign))
    try:
        return asking.asked(first, read=input, tell=tell)
    except EOFError:
        raise CampaignError(
            "the answers ended before all was asked; nothing was written. Answer all, or use --yes."
        ) from None


def book(given: argparse.Namespace, campaign: Any) -> None:
    """Book a sealed phase."""
    from toolkit.campaign import booking
    from toolkit.cli import words

    made = booking.book(campaign, phase=given.phase)
    heads = ["what", "of", "build", "begins", "ends", "hours", "measured by", "oil back by"]
    rows = [[*row[:5], f"{row[5]:,.0f}", *row[6:]] for row in made.table.to_numpy(dtype=object).tolist()]
    out(given, made, lambda: "\n".join([*made.sentences, "", words.table(rows, heads)]))
    close(given, ", ".join(made.written), "take the .ics file into your calendar", campaign=campaign)


def notebooks(given: argparse.Namespace, campaign: Any) -> None:
    """Run the templates of every step that the campaign has come to.

    Raises
    ------
    NotebookError
        When one did not run to its end; the others were run all the same.
    """
    from toolkit.errors import NotebookError
    from toolkit.report import notebooks as runner

    began = time.monotonic()

    def progress(done: int, of: int) -> None:
        """One line a notebook, where somebody is looking."""
        if sys.stderr.isatty():
            tell(f"{done} of {of} notebooks, {so_far(done, of, time.monotonic() - began)}")

    made = runner.run_due(campaign, progress=progress)
    for name, taken in made.seconds.items():
        problem = made.stopped.get(name)
        tell(f"{name}: {taken:.0f} s{f', stopped: {problem}' if problem else ''}")
    out(given, made, lambda: "\n".join(map(str, made.written)))
    close(given, f"{len(made.written)} notebooks to derived/notebooks/", campaign=campaign)
    if made.stopped:
        raise NotebookError("\n".join(made.stopped.values()))


def lab(given: argparse.Namespace, campaign: Any) -> int:
    """Open JupyterLab on a campaign."""
    from toolkit.report import lab as jupyter

    tell(f"JupyterLab on {campaign.folder}: begin with {jupyter.FIRST}; Ctrl-C here ends it")
    return jupyter.open_lab(campaign, browser=False if given.no_browser else None, port=given.port)


def rerun(given: argparse.Namespace) -> None:
    """Work campaigns out again and tell what moved.

    Raises
    ------
    WearbookError
        When something moved or could not be compared.
    """
    from toolkit.campaign import rerunning
    from toolkit.cli import words

    began = time.monotonic()

    def progress(done: int, of: int) -> None:
        """One line a campaign, where somebody is looking."""
        if sys.stderr.isatty():
            tell(f"{done} of {of} campaigns, {so_far(done, of, time.monotonic() - began)}")

    found = rerunning.rerun(given.folders, processes=given.processes, progress=progress)

    def text() -> str:
        """A line a campaign, then what moved."""
        table = found.table
        lines = [item.sentence for item in found.found]
        if len(table):
            shown = table.head(_SHOWN)
            more = len(table) - len(shown)
            lines += ["", words.table(shown.to_numpy().tolist(), list(table.columns))]
            lines += [f"  ... and {more:,} more; --json has them all"] if more else []
        return "\n".join(lines)

    out(given, found, text)
    moved = [str(name) for name in found.table["result"]] if len(found.table) else []
    steps = [f"what moved is stored anew by wearbook {_verbs(moved)} of that campaign"] if moved else []
    if any(item.faults for item in found.found):
        steps.append("put right what is told of each campaign that is not in order, then the same command again")
    close(given, "nothing", *steps)
    found.require()


def _verbs(moved: Sequence[str]) -> str:
    """The verbs that store anew what moved, as a choice."""
    found: dict[str, None] = {}
    for name in moved:
        kind, _, phase = Path(name).stem.partition("-")
        if kind in ("booking", "design") and phase:
            # Without its phase the verb takes another one.
            found |= {f"{'book' if kind == 'booking' else 'plan'} --phase {phase}": None}
        else:
            found |= dict.fromkeys(["size"] if kind == "chosen" else ["analyse", "size"])
    first = [verb for verb in ("analyse", "size") if verb in found]
    verbs = [*first, *(verb for verb in found if verb not in first)]
    return f"{', '.join(verbs[:-1])} or {verbs[-1]}" if len(verbs) > 1 else verbs[0]
