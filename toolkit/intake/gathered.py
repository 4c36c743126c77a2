"""Faults as they are met while records are read, and findings as rows of a table (rank 6).

A fault stops the reading (all are told at once); a finding is something about the data that does not.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import pandas as pd

from toolkit import measured_in
from toolkit.errors import Fault, IntakeError, raise_all

ALIKE_SHOWN = 3
HEADLINE = "The records are not in order; nothing was read."

SEVERITIES = ("stop", "exclude", "note")
FINDING_COLUMNS = ("severity", "run_id", "part_id", "column", "rule", "found", "expected", "action")

Finding = dict[str, str | None]


class Gathered:
    """Every fault of the records; faults alike in one column are shown three times, then counted.

    A column full of decimal commas would otherwise hide the one wrong word in another table.
    """

    def __init__(self) -> None:
        self._groups: dict[tuple[str, str, str], list[Fault]] = {}
        self._counts: dict[tuple[str, str, str], int] = {}

    def add(
        self,
        table: str,
        where: str,
        found: str,
        expected: str,
        remedy: str | Callable[[], str] = "",
        *,
        column: str = "",
        kind: str = "",
    ) -> None:
        """Keep one fault.

        Parameters
        ----------
        table : str
            The table it is in, as people know it: 'raw/runs.csv'.
        where, found, expected : str
            As in ``errors.Fault``.
        remedy : str or callable
            A callable is only asked for the faults that are shown (looking for the nearest name takes time).
        column, kind : str
            Faults of one table, column and kind count as alike; without a kind each stands alone.
        """
        key = (table, column, kind) if kind else (table, column, f"alone {len(self._groups)}")
        kept = self._groups.setdefault(key, [])
        self._counts[key] = self._counts.get(key, 0) + 1
        if len(kept) < ALIKE_SHOWN:
            kept.append(Fault(where, found, expected, remedy() if callable(remedy) else remedy))

    def about(self, table: str) -> bool:
        """True when a fault of this table was kept."""
        return any(key[0] == table for key in self._groups)

    def __len__(self) -> int:
        """How many faults there are."""
        return sum(self._counts.values())

    @property
    def faults(self) -> list[Fault]:
        """The faults to show, in the order met, with a count in place of those alike."""
        shown: list[Fault] = []
        for key, kept in self._groups.items():
            shown += kept
            more = self._counts[key] - len(kept)
            if more:
                table, column, _ = key
                shown.append(
                    Fault(
                        f"{table}, column {column}" if column else table,
                        f"{more} more {'fault' if more == 1 else 'faults'} of the same kind",
                        "what is said above",
                        "Put them right in the same way.",
                    )
                )
        return shown

    def raise_all(self) -> None:
        """Raise them all at once; no faults, no error.

        Raises
        ------
        IntakeError
        """
        raise_all(IntakeError, HEADLINE, self.faults)


def finding(
    severity: str,
    rule: str,
    *,
    found: str,
    expected: str,
    action: str,
    run_id: str | None = None,
    part_id: str | None = None,
    column: str | None = None,
) -> Finding:
    """One row of the table of findings.

    Parameters
    ----------
    severity : str
        stop: the response cannot be analysed like this; exclude: the run should be judged again; note: to
        be known.
    rule, found, expected, action : str
        Which rule, what stands there, what the rule asks, what to do.
    run_id, part_id, column : str, optional
        What it is about.
    """
    return {
        "severity": severity,
        "run_id": run_id,
        "part_id": part_id,
        "column": column,
        "rule": rule,
        "found": found,
        "expected": expected,
        "action": action,
    }


def table(findings: Sequence[Finding]) -> pd.DataFrame:
    """Findings as a frame, the gravest first; what a finding is not about is None."""
    ordered = sorted(findings, key=lambda row: SEVERITIES.index(str(row["severity"])))
    return pd.DataFrame(
        [[row[name] for name in FINDING_COLUMNS] for row in ordered],
        columns=list(FINDING_COLUMNS),
        dtype=object,
    )


def figure(value: float) -> str:
    """A number for a message: at most 12 figures, so that sums of decimals read as people write them."""
    return f"{value:.12g}"


def quantity(value: float, column: str) -> str:
    """A number with what its column is measured in: '98.2 °C'."""
    return f"{figure(value)} {measured_in.shown(column)}".strip()


def some(names: Sequence[str], at_most: int = 6) -> str:
    """Names in a row for a message, the first few and then a count."""
    text = ", ".join(names[:at_most])
    return text if len(names) <= at_most else f"{text} and {len(names) - at_most} more"
