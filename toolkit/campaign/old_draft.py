"""The draft of a brief from an old table: what was recognised, why, and a '?' wherever a guess could mislead (rank 9).

The draft is written once and belongs to the person then. Everything that came from the table is escaped.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

from toolkit import measured_in
from toolkit.brief import check_comparisons
from toolkit.brief.check_answers import OPEN
from toolkit.campaign.old_columns import Measured, Recognised, Treatment
from toolkit.intake import cells

MAPPING = "old table"
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_RULE = "# --- {} "
_WIDTH = 112


def draft(found: Recognised, *, campaign_id: str, received: str) -> str:
    """The text of campaign.toml for an old table.

    Parameters
    ----------
    found : Recognised
    campaign_id : str
    received : str
        Where the copy of the table lies in the campaign's folder.

    Returns
    -------
    str
        TOML that ``wearbook check`` reads; every open answer is a '?'.
    """
    lines = [*_head(found, campaign_id, received)]
    for treatment in found.treatments:
        lines += _factor(treatment)
    lines += _blocks(found)
    lines += _section("Responses: figures of wear, and others that are no condition of the rig (a guess)")
    for item in found.responses:
        lines += _response(item, single=len(found.responses) == 1)
    lines += _comparisons(found)
    lines += _old_data(found)
    lines += _received(found)
    lines += _left(found)
    lines += [
        *_section("Scatter: single runs hold none of their own"),
        "[scatter]",
        "# declared_cv_pct = [10, 20]          # a guess at the run-to-run scatter, lowest and highest; marked as one",
        '# history = "raw/rig-history.csv"     # sd and df of earlier campaigns of this rig',
    ]
    return "\n".join(lines) + "\n"


def quoted(text: str) -> str:
    """Text as a TOML string: backslashes, quotes and what does not print written out (TOML 1.0, basic strings)."""
    made = []
    for sign in text:
        if sign in '"\\':
            made.append(f"\\{sign}")
        elif sign.isprintable():
            made.append(sign)
        else:
            made.append(f"\\u{ord(sign):04x}" if ord(sign) < 0x10000 else f"\\U{ord(sign):08x}")
    return f'"{"".join(made)}"'


def _key(text: str) -> str:
    """A TOML key: bare where it can be."""
    return text if _BARE.fullmatch(text) else quoted(text)


def _table(pairs: Iterable[tuple[str, str]]) -> str:
    """An inline table of texts."""
    return "{ " + ", ".join(f"{_key(key)} = {quoted(value)}" for key, value in pairs) + " }"


def _section(title: str) -> list[str]:
    """A rule with a title above a section."""
    return ["", _RULE.format(title).ljust(_WIDTH, "-")]


def _remark(line: str, remark: str) -> str:
    """A line with a remark behind it."""
    return f"{line.ljust(38)}# {remark}"


def _head(found: Recognised, campaign_id: str, received: str) -> list[str]:
    """The first lines and the campaign."""
    table = found.table
    lines = [
        f"# A draft made from the old table {cells.shown(table.name)} ({len(table.lines)} lines).",
        f"# An unchanged copy lies in {received}.",
        f'# Every "{OPEN}" waits for your answer: `wearbook check` asks each in words. All else was guessed from what',
        "# stands in the table; what was seen stands beside it. Correct what is wrong: nothing here is sealed.",
    ]
    if table.above:
        lines.append(f"# Above the headings, not read: {', '.join(cells.shown(text) for text in table.above[:6])}.")
    return [
        *lines,
        "",
        "[campaign]",
        f"id = {quoted(campaign_id)}",
        _remark(f'question = "{OPEN}"', "which change, by how much, for which decision?"),
        _remark("seed = 1", "nothing is drawn from it while no run is planned"),
        _remark(
            f'new_each_run = "{OPEN}"', 'what was new in every run anyway: a list such as ["part", "fill"], or []'
        ),
        *_section("Treatments: columns in which a few words or numbers come back (a guess)"),
        "# A column that is no treatment: delete its [[factor]], its comparisons and its line in [received.columns].",
    ]


def _factor(item: Treatment) -> list[str]:
    """One factor."""
    lines = ["", f"# Column {cells.shown(item.heading)}: {item.seen}", "[[factor]]", *_named(item.name)]
    lines.append(_remark(f'undo = "{OPEN}"', f"to change {_label(item.name)}: build | part | fill | setting"))
    if item.numeric:
        lines.append(f"levels = [{', '.join(level for level, _ in item.levels)}]")
    else:
        lines.append(f"levels = {_table(item.levels)}")
    return [*lines, "# The first level is the baseline: the first in the table. Put the one you compare with first."]


def _blocks(found: Recognised) -> list[str]:
    """Builds, where a column names them."""
    if not found.build:
        return []
    return [
        *_section("Builds"),
        f"# Column {cells.shown(found.build)}: {found.said[found.build]}",
        "[blocks]",
        _remark(f'by = "{OPEN}"', '"build": levels are compared within builds. Else delete the section'),
    ]


def _response(item: Measured, *, single: bool) -> list[str]:
    """One response."""
    lines = ["", f"# Column {cells.shown(item.heading)}: {item.seen}", "[[response]]", *_named(item.name)]
    if item.name.endswith("_ppm"):
        lines.append(_remark('per_run = "value"', "one figure a run, as it stands in the table"))
    if single:
        lines.append(_remark('role = "primary"', "the only response"))
    else:
        lines.append(_remark(f'role = "{OPEN}"', "primary (one: the decision rests on it) | secondary"))
    lines.append(_remark(f'better = "{OPEN}"', "smaller | larger"))
    if item.above_zero:
        lines.append(_remark(f'scale = "{OPEN}"', "log (ratios; the usual choice for wear) | linear (differences)"))
        asked = "the smallest that matters, per cent; linear: worthwhile_change"
        lines.append(_remark(f'worthwhile_change_pct = "{OPEN}"', asked))
    else:
        lines.append(_remark('scale = "linear"', "figures at or below 0 have no ratio"))
        unit = f", in {measured_in.shown(item.name)}" if measured_in.shown(item.name) else ""
        lines.append(_remark(f'worthwhile_change = "{OPEN}"', f"the smallest change that matters{unit}"))
    return lines


def _named(name: str) -> list[str]:
    """The name of a column, with a remark where its unit is not known."""
    line = f"name = {quoted(name)}"
    if not name.endswith(f"_{OPEN}"):
        return [line]
    return [_remark(line, "what is it measured in? Its unit (um, mg, Nm ...) in place of the ?, here and below")]


def _comparisons(found: Recognised) -> list[str]:
    """Each level against the baseline, as many as a brief takes."""
    every = [(item, level) for item in found.treatments for level, _ in item.levels[1:]]
    kept = every[: check_comparisons.MOST]
    lines = _section("Comparisons: each level against the baseline; keep those that were asked")
    if len(every) > len(kept):
        lines.append(f"# {len(every) - len(kept)} more are left out here: a brief takes {check_comparisons.MOST}.")
    for item, level in kept:
        base = item.levels[0][0]
        lines += [
            "",
            "[[comparison]]",
            f"name = {quoted(f'{_label(item.name)} {level} against {base}'[:60].rstrip())}",
            f"of = {_table([(item.name, level)])}",
            f"against = {_table([(item.name, base)])}",
        ]
    return lines


def _old_data(found: Recognised) -> list[str]:
    """What only the person knows: order and repeats."""
    lines = [*_section("Old data: what only you know"), "[old_data]"]
    asked = "unknown | as listed | the heading of the column that tells it"
    lines.append(_remark(f'order = "{OPEN}"', f"{asked}{f': {quoted(found.order)}' if found.order else ''}"))
    if found.order:
        lines.append(f"# Column {cells.shown(found.order)}: {found.said[found.order]}")
    if found.alike:
        lines.append(_remark(f'repeats = "{OPEN}"', "lines of one combination: runs | readings | none | unknown"))
        groups = [" and ".join(lines_of[:4]) + (" ..." if len(lines_of) > 4 else "") for lines_of in found.alike[:6]]
        more = f" and {len(found.alike) - 6} more" if len(found.alike) > 6 else ""
        lines.append(f"# The same combination: {'; '.join(groups)}{more}.")
        lines.append("# runs: new parts, a run of its own each. readings: one run read again, averaged to one.")
    else:
        lines.append(_remark('repeats = "none"', "no two lines hold the same combination"))
    return lines


def _received(found: Recognised) -> list[str]:
    """How the table is read: our columns, their headings."""
    table = found.table
    lines = [
        *_section("How the table is read: our name = its heading"),
        "[[received]]",
        f"name = {quoted(MAPPING)}",
        'table = "runs"',
        f"files = {quoted(_pattern(table.name))}",
    ]
    if found.decimal:
        why = "the mark of the figures that can be read in one way only"
        if found.decimal == OPEN:
            why = "comma | point: some figures can be read in two ways"
        lines.append(_remark(f"decimal = {quoted(found.decimal)}", why))
    pairs = [("run_id", found.run_id), ("build_id", found.build), ("actual_order", found.order)]
    pairs += [(item.name, item.heading) for item in (*found.treatments, *found.responses)]
    pairs += [("run_time_h", found.hours), ("verdict", found.verdict), ("note", found.note)]
    lines += ["", "[received.columns]"]
    if not found.run_id:
        lines.append("# No column names the runs: they are numbered by their lines, L01, L02 ...")
    lines += [f"{_key(ours)} = {quoted(theirs)}" for ours, theirs in pairs if theirs]
    lines += ["", "[received.always]", 'phase = "main"']
    if not found.build:
        lines.append(_remark('build_id = "old"', "no column names builds"))
    if not found.verdict:
        lines.append(_remark(f'verdict = "{OPEN}"', "valid: every run went to its end by the rules of the rig"))
        lines.append(f"{'':38}# pending: you judge them one by one with `wearbook note`")
        lines += _remarks(found)
    units = [(item.name, item.their_unit) for item in (*found.treatments, *found.responses) if item.their_unit]
    units += [("run_time_h", found.hours_unit)] if found.hours_unit else []
    if units:
        lines += ["", "[received.measured_in]", *(f"{_key(name)} = {quoted(unit)}" for name, unit in units)]
    for item in found.treatments:
        words = [(level, word) for level, word in item.levels if level != word]
        if words:
            lines += ["", f"[received.levels.{_key(item.name)}]"]
            lines += [f"{_key(level)} = {quoted(word)}" for level, word in words]
    return lines


def _remarks(found: Recognised) -> list[str]:
    """What remarks there are on single lines: a run that was stopped may stand in them."""
    texts = next((column.texts for column in found.table.columns if column.heading == found.note and found.note), ())
    told = [(line, text) for line, text in zip(found.table.lines, texts, strict=False) if text]
    lines = [f"# {line}: {cells.shown(text)}" for line, text in told[:8]]
    return [*lines, f"# and {len(told) - 8} more remarks"] if len(told) > 8 else lines


def _left(found: Recognised) -> list[str]:
    """The columns that are not read, and those that are but are no treatment and no response."""
    told = [(heading, why) for heading, why in found.left]
    kept = [("the runs", found.run_id), ("hours of a run", found.hours), ("verdicts", found.verdict)]
    kept += [("remarks", found.note)]
    lines = [f"# Column {cells.shown(heading)} is taken for {what}: {found.said[heading]}" for what, heading in kept
             if heading]  # fmt: skip
    lines += [f"# Column {cells.shown(heading)} is not read: {why}." for heading, why in told]
    return ["", *lines] if lines else []


def _pattern(name: str) -> str:
    """A pattern that only this file name fits: signs that mean something in patterns are put in brackets."""
    return re.sub(r"[*?\[]", lambda hit: f"[{hit[0]}]", name)


def _label(name: str) -> str:
    """A name as people say it."""
    return measured_in.label(name.removesuffix(f"_{OPEN}"))
