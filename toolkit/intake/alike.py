"""Findings that say the same of several runs, as one (rank 6)."""

from __future__ import annotations

import pandas as pd

MOST = 6


def alike(findings: pd.DataFrame) -> pd.DataFrame:
    """The findings with those that differ in their run alone in one row, where the first of them stood.

    Parameters
    ----------
    findings : DataFrame
        As ``checks`` gives them.

    Returns
    -------
    DataFrame
        The same columns; ``run_id`` names up to six runs and counts the rest: 'R01, R02, R03, R04, R05, R06 and 26
        more'. Findings without a run stay as they are.
    """
    rest = [name for name in findings.columns if name != "run_id"]
    kept: dict[object, dict[str, object]] = {}
    runs: dict[object, list[str]] = {}
    for at, row in enumerate(findings.to_dict("records")):
        named = isinstance(row["run_id"], str) and row["run_id"] != ""
        key = tuple(str(row[name]) for name in rest) if named else at
        kept.setdefault(key, row)
        if named:
            runs.setdefault(key, []).append(str(row["run_id"]))
    made = [{**row, "run_id": _named(runs[key])} if key in runs else row for key, row in kept.items()]
    return pd.DataFrame(made, columns=findings.columns, dtype=object)


def _named(runs: list[str]) -> str:
    """Runs by name, from the seventh on counted."""
    names = list(dict.fromkeys(runs))
    more = len(names) - MOST
    return ", ".join(names[:MOST]) + (f" and {more} more" if more > 0 else "")
