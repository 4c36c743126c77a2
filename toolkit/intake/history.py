"""The rig's history of scatter, a table of earlier campaigns, becomes a tidy frame (rank 6)."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from toolkit.brief.model import Brief
from toolkit.errors import nearest
from toolkit.intake import cells, columns, named_table
from toolkit.intake.gathered import Finding, Gathered, finding
from toolkit.intake.raw import NOTE, Raw, check_header, walk

SCALES = ("log", "linear")
PER_RUN = ("mean", "mean_of_log", "max", "total", "increase", "end", "balance", "value")
STRATA = ("build", "run", "position", "station", "reading")


def read(folder: Path, brief: Brief, inputs: dict[str, str], told: Gathered) -> Raw | None:
    """The history that the brief names, as a raw table of text.

    Parameters
    ----------
    folder : Path
        The campaign's folder; the file must lie in it.
    brief : Brief
    inputs : dict
        The checksum of the file is entered here.
    told : Gathered

    Returns
    -------
    Raw or None
        None when the brief names none, or it cannot be read (a fault is kept then).
    """
    name = brief.scatter.history
    if name is None:
        return None
    return named_table.read(folder, name, "[scatter] history", "a table of earlier campaigns", inputs, told)


def scatter(raw: Raw, brief: Brief, gathered: Gathered) -> tuple[pd.DataFrame, list[Finding]]:
    """Scatter in earlier campaigns of the rig, one row a campaign, response and stratum.

    Parameters
    ----------
    raw : Raw
        Columns campaign_id, response, scale, per_run, stratum, sd, df, rig_state; ``note`` may be there.
    brief : Brief
    gathered : Gathered

    Returns
    -------
    history : DataFrame
        Those columns; sd on the analysis scale (of ln on the log scale), above 0; df above 0.
    findings : list of Finding
        Rows of responses that the brief does not have.
    """
    check_header(raw, columns.HISTORY, (), gathered)
    words = {"scale": SCALES, "per_run": PER_RUN, "stratum": STRATA}
    made, findings = [], []
    seen: dict[tuple[object, ...], int] = {}
    asked = [item.name for item in brief.responses]
    for row in walk(raw, gathered):
        line: dict[str, object] = {"rig_state": row.text("rig_state"), NOTE: cells.in_words(row.text(NOTE))}
        for name in ("campaign_id", "response"):
            line[name] = row.take(name, cells.identifier, needed="a name")
        for name, allowed in words.items():
            line[name] = row.take(name, cells.word, allowed, needed=f"one of {', '.join(allowed)}")
        for name in ("sd", "df"):
            line[name] = row.take(name, _positive, needed="a number above 0")
        key = tuple(line[name] for name in ("campaign_id", "response", "scale", "per_run", "stratum"))
        if None not in key:
            row.once(seen, "campaign_id", key, "each stratum of a campaign's response once")
        if line["response"] is not None and line["response"] not in asked:
            near = nearest(str(line["response"]), asked)
            findings.append(
                finding(
                    "note",
                    "other response",
                    column="response",
                    found=f"{raw.place(row.number)}: {line['response']}",
                    expected=f"a response of the brief: {', '.join(asked)}",
                    action=near or "none: the row is not used",
                )
            )
        made.append(line)
    names = [*columns.HISTORY, *([NOTE] if NOTE in raw.header else [])]
    frame = pd.DataFrame(made, columns=names)
    for name in names:
        frame[name] = frame[name].astype("float64" if name in ("sd", "df") else "str")
    return frame, findings


def _positive(text: str) -> float | cells.Problem:
    """A number above nought."""
    value = cells.number(text, "")
    if isinstance(value, float) and value <= 0.0:
        return cells.Problem("too low", cells.shown(text), "a number above 0")
    return value
