"""From campaign.toml to a brief: every fault at once, each with file, line and a way out (rank 2).

Nothing of the file is ever evaluated, and nothing else is read or written.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from toolkit.brief import checks, lines, loading, plain
from toolkit.brief.found import Found, Loc, place
from toolkit.brief.model import Brief
from toolkit.brief.plain import canonical
from toolkit.errors import BriefError, Fault, raise_all

__all__ = ["canonical", "parse", "read"]


def read(path: Path) -> Brief:
    """The brief of a campaign.

    Parameters
    ----------
    path : Path
        The file campaign.toml.

    Returns
    -------
    Brief

    Raises
    ------
    BriefError
        When the file cannot be read or is not in order; the text holds every fault.
    """
    path = Path(path)
    if path.is_dir():
        raise BriefError(f"{path}: a folder; expected the file campaign.toml. Name the file in it.")
    try:
        # A letter takes four bytes at most.
        if path.stat().st_size > 4 * loading.LARGEST:
            raise BriefError(
                f"{path.name}: {path.stat().st_size:,} bytes; expected {loading.LARGEST} characters at most. Keep "
                f"records in raw/, not in the brief."
            )
        content = path.read_bytes()
    except FileNotFoundError:
        raise BriefError(
            f"{path}: there is no such file; expected a brief. "
            f"Run `wearbook new` for a blank campaign, or look at the path."
        ) from None
    except OSError as error:
        raise BriefError(
            f"{path}: cannot be opened ({error.strerror}); expected a brief. Look at the rights on the file."
        ) from None
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise BriefError(
            f"{path.name} line {line}: characters that are not UTF-8; expected a UTF-8 text file. "
            f"Save the file again with the encoding UTF-8."
        ) from None
    return _brief(text, path.name, path.parent)


def parse(text: str, where: str = "campaign.toml") -> Brief:
    """The brief that a TOML text holds.

    Parameters
    ----------
    text : str
    where : str
        What the text is called in messages.

    Returns
    -------
    Brief

    Raises
    ------
    BriefError
        When the text is not in order; the text of the error holds every fault.

    Examples
    --------
    >>> from toolkit import shipped
    >>> text = (shipped.folder("templates") / "campaign" / "campaign.toml").read_text(encoding="utf-8")
    >>> brief = parse(text)
    >>> brief.factor_names, brief.conf_level
    (('factor_a', 'factor_b'), 0.95)
    >>> parse(text.replace('undo = "part"', 'undo = "prat"'))  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    toolkit.errors.BriefError: campaign.toml is not in order (1 fault):
      campaign.toml line ...: factor 'factor_a', undo: 'prat'; expected ... Did you mean 'part'?
    """
    return _brief(text, where, None)


def _brief(text: str, where: str, folder: Path | None) -> Brief:
    """The brief of a text, or an error with all its faults in the order of the lines."""
    loaded = loading.load(text, where)
    told = list(loaded.faults)
    tables: dict[str, Any] = {}
    if () not in loaded.refused:
        tables, odd = plain.of_toml(loaded.tables)
        refused = loaded.refused | {item.loc for item in odd}
        found = [*odd, *checks.findings(tables, refused=refused, incomplete=loaded.incomplete)]
        if not told and not found:
            found = _linked(plain.of_plain(tables), folder)
        told += _with_lines(found, tables, loaded, where)
    faults = [fault for _, fault in sorted(told, key=lambda item: item[0])]
    raise_all(BriefError, checks.headline(where, len(faults)), faults)
    return plain.of_plain(tables)


def _with_lines(
    found: list[Found],
    tables: dict[str, Any],
    loaded: loading.Loaded,
    where: str,
) -> list[tuple[int, Fault]]:
    """Faults with file, line and key, and their lines for sorting."""
    at = _lines(loaded.text)
    made = []
    for item in found:
        line = lines.line_of(at, _as_written(item.loc, loaded.tables))
        start = where if line is None else f"{where} line {line}"
        key = place(item.loc, tables)
        made.append((line or 0, Fault(f"{start}: {key}" if key else start, item.found, item.expected, item.remedy)))
    return made


def _lines(text: str) -> dict[Loc, int]:
    """The lines of a text's keys; none where it is too odd to be walked: its faults are told all the same."""
    try:
        return lines.of_keys(text)
    except (IndexError, KeyError, ValueError, RecursionError):
        return {}


def _as_written(loc: Loc, tables: dict[str, Any]) -> Loc:
    """A place as in the file: levels by their names, where they were written as a table."""
    if loc[:1] == ("factor",) and len(loc) > 3 and loc[2] == "levels":
        levels = tables["factor"][loc[1]]["levels"]
        if isinstance(levels, dict):
            return (*loc[:3], list(levels)[int(loc[3])])
        return loc[:4]
    return loc


def _linked(brief: Brief, folder: Path | None) -> list[Found]:
    """A history file that a link leads out of the campaign folder."""
    if folder is None or brief.scatter.history is None:
        return []
    root = folder.resolve()
    if (root / brief.scatter.history).resolve().is_relative_to(root):
        return []
    return [
        Found(
            ("scatter", "history"),
            "a link leads out of the campaign folder",
            "a file inside it",
            "Copy the table into the folder.",
        )
    ]
