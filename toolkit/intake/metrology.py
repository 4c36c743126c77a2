"""All that the metrology room handed in beside tables of stations: traces, masters, gauge study (rank 6)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.intake import csv_text, gauge, masters, reference_history, trace_files
from toolkit.intake.against_gauge import TABLE as UNCERTAINTY
from toolkit.intake.gathered import Finding, Gathered, finding
from toolkit.intake.masters import MasterDrift
from toolkit.intake.trace_files import Trace
from toolkit.intake.trace_wear import TraceWear


@dataclass(frozen=True, eq=False)
class Handed:
    """What was read from the campaign's folder, before runs are known.

    Attributes
    ----------
    traces : sequence of Trace
    masters, gauge, earlier : DataFrame or None
        Readings of masters, the gauge study, earlier reference runs.
    findings : sequence of Finding
    """

    traces: Sequence[Trace] = ()
    masters: pd.DataFrame | None = None
    gauge: pd.DataFrame | None = None
    earlier: pd.DataFrame | None = None
    findings: Sequence[Finding] = ()


@dataclass(frozen=True, eq=False)
class Metrology:
    """What it says of the runs.

    Attributes
    ----------
    traces : TraceWear or None
    masters : DataFrame or None
    drifts : tuple of MasterDrift
    gauge, earlier : DataFrame or None
    uncertainty : DataFrame
        Of every run value from stations (see ``against_gauge.uncertainties``).
    covariances : mapping of str to DataFrame
        Response to the covariance of its run values by the correction of drift.
    """

    traces: TraceWear | None = None
    masters: pd.DataFrame | None = None
    drifts: tuple[MasterDrift, ...] = ()
    gauge: pd.DataFrame | None = None
    earlier: pd.DataFrame | None = None
    uncertainty: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(UNCERTAINTY), dtype=object))
    covariances: Mapping[str, pd.DataFrame] = field(default_factory=dict)

    def without(self, runs: set[str]) -> Metrology:
        """The same without what was measured on these runs."""
        if not runs:
            return self
        kept = self.traces
        if kept is not None:
            kept = replace(
                kept,
                pairs=tuple(pair for pair in kept.pairs if pair.run_id not in runs),
                readings=kept.readings[~kept.readings["run_id"].isin(runs)].reset_index(drop=True),
                table=kept.table[~kept.table["run_id"].isin(runs)].reset_index(drop=True),
            )
        left = self.uncertainty[~self.uncertainty["run_id"].isin(runs)].reset_index(drop=True)
        shares = {
            name: table.drop(index=list(runs & set(table.index)), columns=list(runs & set(table.columns)))
            for name, table in self.covariances.items()
        }
        return replace(self, traces=kept, uncertainty=left, covariances=shares)


def read(folder: Path, brief: Brief, inputs: dict[str, str], told: Gathered) -> Handed:
    """Traces, masters, gauge study and earlier reference runs of a campaign's folder.

    Parameters
    ----------
    folder : Path
    brief : Brief
    inputs : dict
        The checksum of every file read is entered here.
    told : Gathered
        Faults are kept here.
    """
    given, findings = trace_files.read(folder, brief, inputs, told)
    tables: dict[str, pd.DataFrame | None] = {masters.NAME: None, gauge.NAME: None}
    for name in tables:
        # A study of the gauge is used beside the runs: what is wrong with it keeps nobody from reading them.
        mine = Gathered() if name == gauge.NAME else told
        raw, checksum = csv_text.read(folder, name, mine)
        if checksum is not None and (name == gauge.NAME or brief.masters):
            inputs[name] = checksum
        if raw is not None and name == masters.NAME and not brief.masters:
            findings.append(
                finding(
                    "note",
                    "not read",
                    found=name,
                    expected="tables that the brief asks for",
                    action="none; name a [[master]] in campaign.toml to have it read",
                )
            )
        elif raw is not None:
            tables[name] = masters.readings(raw, brief, told) if name == masters.NAME else gauge.readings(raw, mine)
        if mine is not told and len(mine):
            tables[name] = None
            findings.append(_not_used(name, mine))
    earlier = reference_history.read(folder, brief, inputs, told)
    return Handed(given, tables[masters.NAME], tables[gauge.NAME], earlier, tuple(findings))


def _not_used(name: str, mine: Gathered) -> Finding:
    """The finding of a gauge study that cannot be used, with all that is wrong."""
    return finding("note", "gauge study", found=f"{name} cannot be used: {' '.join(str(item) for item in mine.faults)}",
                   expected="a table of part_id, operator, station_id, reading and value",
                   action="correct the table; nothing rests on it until then")  # fmt: skip
