"""A bundled INVENTED campaign put into a folder of one's own, phase by phase, as its records come in (rank 10)."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Collection
from pathlib import Path

from toolkit import shipped
from toolkit.campaign import folder as campaign_folder
from toolkit.campaign import registers, seal, storage
from toolkit.campaign.folder import Campaign
from toolkit.errors import CampaignError, listing, nearest
from toolkit.intake import dyno_runs


def names() -> tuple[str, ...]:
    """The names of the bundled campaigns, sorted.

    Examples
    --------
    >>> names()
    ('chain-soot', 'pin-wear', 'sprocket-build', 'tappet-finish')
    """
    return tuple(sorted(path.parent.name for path in shipped.folder("data").glob("*/campaign.toml")))


def bring(
    name: str, to: Path, *, phases: Collection[str] = (), main_runs: int | None = None, recordings: bool = True
) -> Campaign:
    """The bundled campaign in a folder, with the records of these phases in raw/, as the shop would hand them in.

    Where sheets were issued, parts and samples have the codes that were issued.

    Parameters
    ----------
    name : str
        One of ``names()``.
    to : Path
        The folder; a brief that lies in it already is left as it is, tables in raw/ are replaced.
    phases : collection of str
        pilot and main, as far as their runs have come back; none: only what was known before (the rig's history).
    main_runs : int, optional
        Of the main phase only so many runs, the first of the plan; the others are still to come.
    recordings : bool
        False leaves the dynamometer's recordings out: what was typed from them counts then.

    Returns
    -------
    Campaign
        Opened from the folder.

    Raises
    ------
    CampaignError
        When there is no bundled campaign of that name.
    UseError
        When there is no such phase.

    Examples
    --------
    The chain campaign when the pilot is back and no recordings were made:

    >>> import tempfile
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bring("chain-soot", place, phases=("pilot",), recordings=False)
    ...     runs = campaign.records().runs
    >>> print(runs[["run_id", "pin", "oil", "elongation_pct", "verdict"]].round(3).to_string(index=False))
    run_id pin oil  elongation_pct verdict
       P01  P1  O0           0.110   valid
       P02  P0  O0           0.143   valid
       P03  P1  O0           0.096   valid
       P04  P0  O0           0.121   valid
    """
    known = names()
    if name not in known:
        raise CampaignError(
            f"'{name}': there is no such bundled campaign; there are {listing(known)}. {nearest(name, known)}".rstrip()
        )
    for phase in phases:
        seal.require_phase(phase)
    source, target = shipped.folder("data") / name, Path(to)
    if not (target / campaign_folder.BRIEF).exists():
        text = (source / campaign_folder.BRIEF).read_text(encoding="utf-8")
        storage.write_text(target / campaign_folder.BRIEF, text)
    runs = _rows((source / "raw" / "runs.csv").read_text(encoding="utf-8"))
    every = {row["run_id"] for row in runs}
    wanted = {row["run_id"] for row in runs if row["phase"] in phases}
    if main_runs is not None:
        order = sorted((row for row in runs if row["phase"] == "main"), key=lambda row: int(row["planned_order"]))
        wanted -= {row["run_id"] for row in order[main_runs:]}
    codes = _codes(target)
    traces = sorted((source / "raw").glob("traces/*.csv"))
    owners = {part: run for run, part in (path.stem.split("_") for path in traces)}
    for path in traces:
        run, part = path.stem.split("_")
        if run in wanted:
            name = f"{run}_{codes.get((run,), part)}.csv"
            storage.write_text(target / "raw" / "traces" / name, path.read_text(encoding="utf-8"))
    for path in sorted((source / "raw").glob("dyno/*")):
        if recordings and dyno_runs.run_of(path.name, list(wanted)):
            storage.write_bytes(target / "raw" / "dyno" / path.name, path.read_bytes())
    for path in sorted((source / "raw").glob("*.csv")):
        text = path.read_text(encoding="utf-8")
        rows = _rows(text)
        # Runs of earlier campaigns were known before.
        if rows and rows[0].get("run_id") in every:
            kept = [_coded(row, codes, owners) for row in rows if row["run_id"] in wanted]
            _numbered(kept)
            if not kept:
                continue
            text = _text(kept)
        storage.write_text(target / "raw" / path.name, text)
    return campaign_folder.open_campaign(target)


def _codes(folder: Path) -> dict[tuple[str, ...], str]:
    """The codes that were issued: of a run's part, and of a run's oil sample by its hours."""
    found: dict[tuple[str, ...], str] = {}
    for path in sorted((folder / "plan").glob(f"*/{registers.PARTS}")):
        found |= {(row["run_id"],): row["part_id"] for row in _rows(path.read_text(encoding="utf-8"))}
    for path in sorted((folder / "plan").glob(f"*/{registers.SAMPLES}")):
        rows = _rows(path.read_text(encoding="utf-8"))
        found |= {(row["run_id"], f"{float(row['at_h']):g}"): row["sample_id"] for row in rows}
    return found


def _coded(row: dict[str, str], codes: dict[tuple[str, ...], str], owners: dict[str, str]) -> dict[str, str]:
    """A row with the codes that were issued, where sheets were: of its part (by the run it is known to belong to, else
    by that of the row), and of its sample."""
    made = dict(row)
    if "part_id" in row:
        made["part_id"] = codes.get((owners.get(row["part_id"], row["run_id"]),), row["part_id"])
    if "sample_id" in row:
        made["sample_id"] = codes.get((row["run_id"], f"{float(row['at_h']):g}"), row["sample_id"])
    return made


def _numbered(rows: list[dict[str, str]]) -> None:
    """Number samples of one code after the first: one more was drawn than was asked for."""
    seen: Counter[str] = Counter()
    for row in rows:
        if code := row.get("sample_id"):
            seen[code] += 1
            row["sample_id"] = code if seen[code] == 1 else f"{code}-{seen[code]}"


def _rows(text: str) -> list[dict[str, str]]:
    """A CSV text as rows."""
    return list(csv.DictReader(io.StringIO(text, newline="")))


def _text(rows: list[dict[str, str]]) -> str:
    """Rows as CSV text."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return out.getvalue()
