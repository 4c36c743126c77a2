"""All run sheets of a phase as one page to print: one A4 sheet a run, black on white, without scripts (rank 5)."""

from __future__ import annotations

import math
from collections.abc import Sequence

from markupsafe import Markup

from toolkit import cautions
from toolkit.errors import DesignError
from toolkit.running.sheets import Line, RunSheet

# Lengths in mm on A4 (210 x 297) with margins of 10.
_TALL = 274.0
_HEADER, _TITLE, _SMALL, _FOOT = 15.0, 7.4, 3.3, 9.5
_MOST_HIGH, _LEAST_HIGH = 9.0, 4.8
# Characters that fit one line: of small type over the page, of an instruction, of sample labels.
_SMALL_LINE, _TOLD_LINE, _SAMPLES_A_LINE = 118, 70, 5
# A tick box with what follows it, and what stands between two of them; the smallest type of what they mean.
_TICK, _APART, _LEAST_TYPE = 5.2, 2.0, 7.5
_WHAT, _BOX, _UNIT, _RULE, _INITIALS = 56, 34, 14, 65, 20
_POINT = 0.3528
# The mean width of a letter and the height of a line, in parts of the size of the type.
_LETTER, _LINE = 0.56, 1.1
_LARGEST = 11.0
# The same of the letters of levels, which are often capitals.
_CAPITAL, _SMALL_LETTER = 0.7, 0.56
# A letter of words in the widest of the types that a browser may take.
_WIDE_LETTER = 0.62

_STYLE = """@page{size:A4 portrait;margin:10mm}*{box-sizing:border-box}
body{font:11pt/1.1 "Liberation Sans",Arial,sans-serif;color:#000;background:#fff;margin:0}
section{width:190mm;height:274mm;overflow:hidden;break-inside:avoid;margin:0 auto}
section+section{break-before:page}header{display:flex;justify-content:space-between;height:15mm}
h1{font-size:32pt;line-height:1;margin:0}header p{margin:0;text-align:right}
.build{border:.6mm solid #000;padding:1mm 2mm;margin:0}.build span{margin-right:6mm}
table{border-collapse:collapse;width:189mm;table-layout:fixed}
th{text-align:left;font-size:9pt;font-weight:400;height:6.2mm;padding:0 1mm;vertical-align:bottom}
th.part{font-size:12pt;font-weight:700}td{border:.2mm solid #555;padding:.2mm 1mm;overflow:hidden}
td.box{border:.6mm solid #000}td.tick{white-space:nowrap}td.tick i{margin-right:2mm}td.tick i:last-child{margin:0}
i{font-style:normal;margin-right:4mm;white-space:nowrap}
i::before{content:"";display:inline-block;width:4mm;height:4mm;border:.4mm solid #000;margin-right:1.2mm;
vertical-align:-.6mm}
.small,.foot{font-size:8pt;line-height:1.15;margin:1mm 0 0}.foot{font-size:7pt;overflow-wrap:anywhere}"""


def printed(sheets: Sequence[RunSheet]) -> str:
    """The sheets as one HTML page without scripts or outside requests; every run prints on one A4 page.

    Parameters
    ----------
    sheets : sequence of RunSheet

    Raises
    ------
    DesignError
        When so many things are written down in a run that their boxes do not fit one page.
    """
    title = f"Run sheets {sheets[0].campaign}, {sheets[0].phase}"
    return str(
        Markup(
            '<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><meta http-equiv='
            "\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\">"
            "<title>{}</title><style>{}</style></head><body>{}</body></html>\n"
        ).format(title, Markup(_STYLE), Markup("\n").join(_page(sheet) for sheet in sheets))
    )


def _page(sheet: RunSheet) -> Markup:
    """One run on one page: the height of its rows is what the page leaves them."""
    told = f"{cautions.HEADER} {' '.join(cautions.SHORT)}"
    void = f"Void if: {'; '.join(sheet.void)}." if sheet.void else ""
    instruction = "   ".join(f"{name}: {value}" for name, value in sheet.instruction)
    fixed = _HEADER + _FOOT + 3.0 + 5.0 * (1 + len(instruction) // _TOLD_LINE) + _TITLE * len(sheet.parts)
    fixed += sum(1.0 + _SMALL * (1 + len(text) // _SMALL_LINE) for text in (told, void) if text)
    count = sum(_deep(lines) for _, lines in sheet.parts)
    high = min(_MOST_HIGH, (_TALL - fixed) / count)
    if high < _LEAST_HIGH:
        raise DesignError(
            f"A run sheet of {count} lines does not fit one A4 page. Hold or bound fewer variables in campaign.toml, "
            f"or draw fewer oil samples."
        )
    body = Markup("").join(
        Markup(
            "<tr><th class=part>{}</th><th></th><th>unit</th><th>planned, window, limits</th>"
            "<th>initials, time</th></tr>{}"
        ).format(title, _rows(lines, high))
        for title, lines in sheet.parts
    )
    widths = (_WHAT, _BOX, _UNIT, _RULE, _INITIALS)
    return Markup(
        "<section><header><h1>{}</h1><p>Run {}, {} phase<br>{}</p></header><p class=build>{}</p>"
        "<table><colgroup>{}</colgroup><tbody>{}</tbody></table>{}<p class=small>{}</p>"
        "<p class=foot>{} {} seal {}<br>row {}<br>records head before sealing {}</p></section>"
    ).format(
        sheet.run_id,
        sheet.place,
        sheet.phase,
        sheet.campaign,
        Markup(" ").join(Markup("<span>{}: <b>{}</b></span>").format(*pair) for pair in sheet.instruction),
        Markup("").join(Markup('<col style="width:{}mm">').format(wide) for wide in widths),
        body,
        Markup("<p class=small>{}</p>").format(void) if void else Markup(""),
        told,
        sheet.campaign,
        sheet.run_id,
        sheet.seal,
        sheet.row,
        sheet.head,
    )


def _labelled(lines: Sequence[Line]) -> list[Line]:
    """The oil samples among the lines: they share one row."""
    return [line for line in lines if line.tick and line.rule]


def _deep(lines: Sequence[Line]) -> int:
    """How many heights of a row the lines of a section take."""
    labelled = len(_labelled(lines))
    return len(lines) - labelled + math.ceil(labelled / _SAMPLES_A_LINE)


def _rows(lines: Sequence[Line], high: float) -> Markup:
    """The rows of a section."""
    labelled = _labelled(lines)
    made = [_row(line, high) for line in lines if line not in labelled]
    if labelled:
        ticks = Markup(" ").join(
            Markup("<i>{}: {}</i>").format(line.what.removeprefix("Oil sample at "), line.rule.removeprefix("label "))
            for line in labelled
        )
        deep = high * math.ceil(len(labelled) / _SAMPLES_A_LINE)
        made.insert(
            0,
            Markup('<tr style="height:{}mm">{}<td colspan=4 class=box>{}</td></tr>').format(
                f"{deep:.2f}", _cell("Oil samples: hour, label", _WHAT, high), ticks
            ),
        )
    return Markup("").join(made)


def _row(line: Line, high: float) -> Markup:
    """One line: what, its box, unit, rule, initials; a line with neither unit nor rule has a long box."""
    begun = Markup('<tr style="height:{}mm">{}').format(f"{high:.2f}", _cell(line.what, _WHAT, high))
    if not line.unit and not line.rule:
        return begun + Markup("{}<td></td></tr>").format(_long_box(line.choices))
    return begun + Markup("{}{}{}<td></td></tr>").format(
        _ticked(line.choices), _cell(line.unit, _UNIT, high), _cell(line.rule, _RULE, high)
    )


def _long_box(choices: Sequence[str]) -> Markup:
    """A box over three columns, its choices on one line in type as large as fits: a second line would make the row
    higher than the page leaves it."""
    if not choices:
        return Markup("<td class=box colspan=3></td>")
    room = _BOX + _UNIT + _RULE - 3.0 - _TICK * len(choices) - _APART * (len(choices) - 1)
    size = min(_LARGEST, room / (len("".join(choices)) * _WIDE_LETTER * _POINT))
    ticks = Markup("").join(Markup("<i>{}</i>").format(choice) for choice in choices)
    return Markup('<td class="box tick" colspan=3 style="font-size:{}pt">{}</td>').format(f"{size:.1f}", ticks)


def _ticked(choices: Sequence[str]) -> Markup:
    """A box to write in, with tick boxes beside each other in type as large as fits; empty where none does."""
    letters = sum(_CAPITAL if sign.isupper() else _SMALL_LETTER for choice in choices for sign in choice)
    room = _BOX - 3.0 - _TICK * len(choices) - _APART * (len(choices) - 1)
    size = min(_LARGEST, room / (letters * _POINT)) if letters else 0.0
    if size < _LEAST_TYPE:
        return Markup("<td class=box></td>")
    ticks = Markup("").join(Markup("<i>{}</i>").format(choice) for choice in choices)
    return Markup('<td class="box tick" style="font-size:{}pt">{}</td>').format(f"{size:.1f}", ticks)


def _cell(text: str, wide: float, high: float) -> Markup:
    """A cell whose type is as large as its text can be without making the row grow."""
    room = 0.95 * (wide - 2.4)
    size = max(
        min(
            _LARGEST,
            (high - 0.8) / (lines * _LINE * _POINT),
            lines * room / (max(len(text), 1) * _POINT * _LETTER),
        )
        for lines in range(1, 7)
    )
    return Markup('<td style="font-size:{}pt">{}</td>').format(f"{size:.1f}", text)
