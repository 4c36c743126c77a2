"""The report step on a campaign folder (rank 10)."""

from __future__ import annotations

import html
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from toolkit import copies, stamp
from toolkit.campaign import log, planning, reported, steps, storage
from toolkit.campaign.folder import Campaign
from toolkit.decide.analysis import Analysis
from toolkit.errors import CampaignError
from toolkit.report import pdf as printing
from toolkit.report import view_steps
from toolkit.report.html import ReportInput, build
from toolkit.report.pictures import Pictures


@dataclass(frozen=True, eq=False)
class Reported:
    """A report that was written, and the analysis it tells; its PDF, or why there is none where one was asked for."""

    path: Path
    analysis: Analysis
    pdf: Path | None = None
    no_pdf: str = ""

    @property
    def files(self) -> tuple[Path, ...]:
        """The report, and the PDF where there is one."""
        return (self.path,) if self.pdf is None else (self.path, self.pdf)

    def to_json(self) -> dict[str, Any]:
        """The paths, the headline and the sentences."""
        return stamp.plain(
            {
                "report": str(self.path),
                "pdf": None if self.pdf is None else str(self.pdf),
                "headline": self.analysis.headline,
                "interim": self.analysis.interim,
                "progress": self.analysis.progress or None,
                "answers": {
                    name: [row["sentence"] for row in item.verdicts.to_dict("records")]
                    if not item.stopped
                    else [item.stopped]
                    for name, item in self.analysis.responses.items()
                },
            }
        )

    def __repr__(self) -> str:
        """Where it is, and the answers, as text."""
        return f"{self.path.name}\n{self.analysis!r}"

    def _repr_html_(self) -> str:
        """Where it is, and the answers."""
        return f"<p>{html.escape(self.path.name)}</p>{self.analysis._repr_html_()}"


def report(campaign: Campaign, *, pdf: bool = False, copy: copies.Copy | None = None) -> Reported:
    """Analyse afresh and write report/<campaign>.html and the tables beside it; the same records give the same bytes.

    Parameters
    ----------
    campaign : Campaign
    pdf : bool
        Print it to PDF too, by the Chromium of this machine; without one the report is written and ``no_pdf`` says so.
    copy : Copy, optional
        Does some of the work (see ``copies.copied``): for a command, never in a notebook.

    Raises
    ------
    WearbookError
        As ``campaign.steps.analyse``.

    Examples
    --------
    Three finishes of a tappet while one run is still to come:

    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     made = report(bundled.bring("tappet-finish", place, phases=("main",)))
    ...     page = made.path.read_text(encoding="utf-8")
    >>> made.path.name
    'tappet-finish.html'
    >>> page.startswith("<!doctype html>")
    True
    """
    with storage.locked(campaign.folder):
        # One state of the folder: nothing is taken in or noted between the analysis and what is told of it.
        found = steps.analysed(campaign, copy)
        sizing = campaign.plan("main")["sizing"] if campaign.sealed("main") else None
        begun = Pictures(found, sizing, copy)
        looks = [planning.look_at(campaign, phase, found.records) for phase in campaign.brief.counted_phases]
        before = tuple(one for one in looks if one is not None)
        plans = {phase: campaign.plan(phase) for phase in campaign.brief.counted_phases if campaign.sealed(phase)}
        given = ReportInput(found, steps.stamp_of(campaign), sizing, log.read(campaign.folder), before, plans=plans)
    text = build(replace(given, dates=view_steps.main_dates(campaign)), begun=begun)
    path = reported.path_of(campaign)
    with storage.locked(campaign.folder):
        storage.write_text(path, text)
    if not pdf:
        return Reported(path, found)
    try:
        return Reported(path, found, printing.printed(path, at=str(given.stamp["records_at"])))
    except CampaignError as problem:
        return Reported(path, found, no_pdf=str(problem))


def written(campaign: Campaign) -> Reported:
    """The report that lies in the folder already, with the analysis it tells; writes nothing."""
    return Reported(reported.path_of(campaign), steps.analysis_of(campaign))
