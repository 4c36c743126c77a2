"""What the verbs print for people: short tables and sentences, never a number of their own (rank 11)."""

from __future__ import annotations

import re
from collections.abc import Hashable, Iterable, Sequence
from typing import Any

import pandas as pd

from toolkit import cautions
from toolkit.campaign import order_words
from toolkit.campaign.further import Further
from toolkit.campaign.sheets import Issued
from toolkit.campaign.steps import Checked, Planned
from toolkit.decide import pending
from toolkit.decide.analysis import Analysis
from toolkit.design import strata as design_strata
from toolkit.design.orders import CORRELATIONS
from toolkit.intake.alike import alike
from toolkit.size import chosen_lines, in_words
from toolkit.size import options as size_options
from toolkit.size.options import Options
from toolkit.wording import counted, joined

_ROOTS = (
    "  of builds, sets of parts and fills the figure is the root of their mean square on the scale of one run: the\n"
    "  scatter of the runs in them is part of it",
)

# Batches of further runs that are shown; those behind them do less for their price.
_BATCHES = 12


def checked(found: Checked) -> str:
    """The lines of a check, then the findings."""
    lines = list(found.lines)
    return "\n".join([*lines, *findings(found.findings)])


def findings(frame: pd.DataFrame, exclude: str = "judge again") -> list[str]:
    """Findings, those alike in one line; a run that a rule says is invalid counts until a person judges it so."""
    told = []
    for row in alike(frame).to_dict("records"):
        grave = exclude if row["severity"] == "exclude" else row["severity"]
        about = " ".join(str(row[name]) for name in ("run_id", "part_id", "column") if row[name] not in (None, ""))
        start = f"  {grave}: {about}: " if about else f"  {grave}: "
        action = re.sub("^none", "nothing to do", str(row["action"]))
        told.append(f"{start}{row['found']} (expected {row['expected']}); {action}")
    return told


def sized(found: Options) -> str:
    """The sentence, the scatter and the plans."""
    scatter = found.scatter
    parts = [
        found.sentence,
        "",
        "Scatter known so far (SD of ln where the scale is log):",
        table(
            [
                [
                    row["response"],
                    row["source"],
                    row["stratum"],
                    ("at most " if row.get("bound") is True else "") + _figure(row["sd"]),
                    f"{_figure(row['conf_low'])} to {_figure(row['conf_high'])}",
                    _figure(row["df"]),
                    "used" if row["used"] else "",
                ]
                for row in scatter.to_dict("records")
            ],
            ["response", "source", "stratum", "SD", f"{100 * found.brief.conf_level:g} % interval", "df", ""],
        ),
        *_ROOTS[: int(scatter["stratum"].isin(["build", "part", "fill"]).any())],
        "",
        "Plans (hours and cost with the expected repeats):"
        if found.brief.cost.items
        else "Plans ([cost] of campaign.toml has no items: hours and money are not told):",
        _frame(size_options.summary(found).rename(columns=lambda name: name.replace(": chance shown (%)", " %"))),
    ]
    book = found.recommended
    if book is not None:
        parts += ["", f"Recommended: {book.name}. What it shows, claim by claim:", _claims(found, book)]
        section = "[extension]" if found.phase == "extension" else "[plan]"
        lines = chosen_lines.in_a_line(found, book)
        parts += ["", f"To choose it, write into {section} of campaign.toml: {lines}"]
    parts += _advised(found)
    return "\n".join([*parts, *("" if not found.notes else f"note: {note}" for note in found.notes)])


def _advised(found: Options) -> list[str]:
    """What is said beside the plans: the recommendation, what it cannot show, splits, routes."""
    told = found.advice
    if told is None:
        return []
    lines = ["", "To be read out:", *(f"  {text}" for text in told.spoken)] if told.recommended else []
    if found.why:
        lines += ["", "Why this plan:" if told.recommended else "What it would take:", *(f"  {x}" for x in found.why)]
    lines += ["", f"What {told.plan.name} cannot show:", *(f"  {text}" for text in told.cannot)]
    if told.split is not None:
        lines += ["", "Runs, stations and readings:", *(f"  {text}" for text in told.split.sentences)]
    if told.routes is not None:
        lines += ["", "Kept or new in every run:", f"  {told.routes.sentence}"]
    if found.habits is not None and found.habits.habits:
        lines += ["", f"What other ways of testing would claim, beside {found.habits.plan}:"]
        lines += [f"  {habit.sentence}" for habit in found.habits.habits]
        lines += [f"  note: {note}" for note in found.habits.notes]
    return [*lines, ""]


def _claims(found: Options, book: size_options.Option) -> str:
    """The claims of one plan as a table."""
    rows = []
    for claim in book.claims:
        response = found.brief.response(claim.response)
        rows.append(
            [
                claim.response,
                claim.comparison or f"term {claim.term}",
                claim.error_stratum,
                _figure(claim.error_df),
                _per_cent(claim.power),
                _per_cent(claim.assurance),
                _per_cent(claim.power_at_upper_scatter),
                in_words.detectable(response, claim),
                in_words.assumed(response, claim),
                _per_cent((claim.outcomes or {}).get("not known yet")),
            ]
        )
    return table(
        rows,
        [
            "response",
            "claim",
            "stratum",
            "df",
            "power*",
            "chance shown",
            "at upper limit",
            "detectable",
            "true change",
            "not known yet",
        ],
    ) + (
        "\n* power: if the scatter were exactly as estimated. Chance shown: averaged over the doubt in the scatter. At "
        "upper limit:\n  at the 80 % upper limit of the scatter (of a guess: at its upper end). Detectable: with power "
        f"{100 * found.brief.power:g} % at the scatter\n  as estimated."
    )


def planned(made: Planned) -> str:
    """The run list, what was randomised, the drift correlations, the cautions, the seal."""
    design = made.order.design
    drift = made.order.drift
    # Without builds in the brief a build is no more than a name that every run has.
    none = design.builds == 1 and design_strata.layout_of_builds(design.brief) == design_strata.RANDOMISED
    inside = "" if none else f" in {counted(design.builds, 'build')}"
    lines = [
        f"{design.name}: {design.runs} runs{inside}; randomised: {made.order.drawn} (seed {made.order.seed})",
        "",
        _frame(made.table.drop(columns=["replicate", *(["build_id"] if none else [])])),
    ]
    if len(drift) and drift[list(CORRELATIONS)].notna().to_numpy().any():
        # In one build the order over the campaign is the order within it: the columns would say everything twice.
        heads = dict(
            zip(
                CORRELATIONS,
                ("over the campaign", "within builds", "with its square", "square within builds"),
                strict=True,
            )
        )
        kept = [name for name in CORRELATIONS if design.builds > 1 or "within builds" not in heads[name]]
        lines += [
            "",
            "Correlation of each comparison with run order (0: a steady drift does not touch it):",
            table(
                [[row["comparison"], *(_figure(row[name]) for name in kept)] for row in drift.to_dict("records")],
                ["comparison", *(heads[name] for name in kept)],
            ),
            *filter(None, [order_words.pointer(made.order)]),
        ]
    elif len(drift):
        lines += ["", "These runs tell none of the comparisons by themselves, so none can go along with their order."]
    lines += [f"  {text}" for text in order_words.lines(design.brief, made.plan)]
    lines += ["", "The design, before it is run:", *(f"  {text}" for text in made.look.short)]
    lines += ["", cautions.HEADER, *(f"  - {line}" for line in cautions.LINES), "", f"seal {made.plan['seal']}"]
    if made.plan["sealed_after_records"]:
        lines.append("NOTE: sealed after records of this phase existed.")
    return "\n".join(lines)


def issued(made: Issued) -> str:
    """The runs with their parts and sheets, when oil is sampled, where the files are, the cautions."""
    samples = made.register.samples
    hours = list(dict.fromkeys(samples["at_h"]))
    spares = int((made.register.parts["spare"] == "yes").sum())
    return "\n".join(
        [
            f"{len(made.sheets)} run sheets of the {made.register.phase} phase; parts allotted to runs at random; "
            f"{spares} spare{'' if spares == 1 else 's'}",
            "",
            _frame(made.table[["run_id", "part_id", "sheet"]]),
            "",
            *([f"Oil is sampled at {', '.join(hours)} h: {len(samples)} samples."] if hours else []),
            *(f"  {name}" for name in made.files if not name.endswith(tuple(made.table["sheet"]))),
            *_withdrawn(made),
            "",
            cautions.HEADER,
            *(f"  - {line}" for line in cautions.LINES),
            "",
            f"seal {made.seal}",
        ]
    )


def _withdrawn(made: Issued) -> list[str]:
    """What an amendment made void, where it lies now, and sheets that stay good and were filled in where they lie."""
    lines = [f"  withdrawn: {name}, now {place}" for name, place in made.withdrawn.items()]
    if made.withdrawn:
        lines.insert(0, "Withdrawn by the amendment (take the old run sheets back from the test cell):")
    return lines + [f"  left as it is, filled in and good still: {name}" for name in made.filled]


def analysed(found: Analysis) -> str:
    """The answers, one sentence each, with what they still wait for, the runs beside the plan, and the findings."""
    lines = [found.headline]
    if len(found.pending):
        lines.append(f"waiting for: {pending.waits(found.pending)}")
    lines.append(found.as_run.sentence)
    if len(found.before_deciding):
        lines += ["", "Before deciding:", *(f"  {text}" for text in found.before_deciding["sentence"])]
    for item in found.responses.values():
        lines += ["", f"{item.response}:"]
        if item.stopped:
            lines.append(f"  not analysed: {item.stopped}")
            continue
        lines += [f"  {row['sentence']}" for row in item.verdicts.to_dict("records")]
        named = [str(name) for name in item.verdicts["comparison"]]
        if item.unrepeated is not None:
            lines += [f"  {text}" for text in item.unrepeated.sentences]
        if item.surface is not None:
            lines += ["  The surface:", *(f"    {text}" for text in item.surface.sentences)]
        if item.beside is not None and any(item.beside.weighed.sentences.values()):
            lines += ["  Against the worthwhile change:"]
            lines += [f"    {text}" for text in item.beside.weighed.sentences.values() if text]
        if len(item.worst_cases):
            lines += ["  Where the pending runs could take it:"]
            lines += [f"    {text}" for text in together(named, item.worst_cases["sentence"])]
        if item.beside is not None:
            # Without an error there is no interval for a run to move and no test to repeat in another order.
            told = item.beside.sentences if item.unrepeated is None else ()
            lines += [f"  {text}" for text in (*together(named, told), item.beside.next_runs.sentence)]
        lines += findings(item.findings, exclude="left out")
    lines += ["", *(str(text) for text in found.agreement["sentence"])] if len(found.agreement) else []
    for name, old in found.habit.items():
        lines += ["", f"{name}, what these old data can and cannot support:", *(f"  {text}" for text in old.sentences)]
    if len(found.records.findings):
        lines += ["", "What the records say that needs a look:", *findings(found.records.findings)]
    lines += [f"note: {note}" for note in found.notes]
    return "\n".join(lines)


def together(named: Sequence[str], sentences: Iterable[str]) -> list[str]:
    """Sentences that begin with the name of a comparison; what is said of several alike stands once, under all."""
    said: dict[str, list[str]] = {}
    for text in sentences:
        begins = [name for name in named if text.startswith(f"{name}: ")]
        name = max(begins, key=len, default="")
        about = said.setdefault(text.removeprefix(f"{name}: ") if name else text, [])
        about += [name] if name and name not in about else []
    return [f"{joined(about)}: {rest}" if about else rest for rest, about in said.items()]


def further(found: Further) -> str:
    """The advice: batches of further runs below each other, then extensions with the lines that choose them."""
    lines = [found.runs.sentence]
    head = ["further runs", "where", "runs", "hours", found.runs.cost_head, "variance taken", "would settle"]
    rows = [
        [
            row["what"],
            row["where"],
            row["runs"],
            _whole(row["hours"]),
            _whole(row["cost"]),
            _per_cent(row["variance_taken"]),
            found.runs.settled_by(row) or row["note"],
        ]
        for row in _first_batches(found)
    ]
    more = len(found.runs.table) - len(rows)
    lines += ["", table(rows, head)] if rows else []
    lines += [f"  ... and {more:,} more, none with more for its price: wearbook next --json"] if more else []
    ways = found.ways.table.to_dict("records")
    lines += ["", "Extensions, as a phase of their own:", *(f"  {text}" for text in found.ways.sentences)]
    if ways:
        shown = [[row["way"], row["runs"], _whole(row["hours"]), _whole(row["cost"]), row["why"]] for row in ways]
        lines += ["", table(shown, ["extension", "runs", "hours", found.runs.cost_head, "what it does"])]
        lines += ["", f"To choose {ways[0]['way']}, write into campaign.toml:", ""]
        lines += [f"  {line}" for line in ways[0]["lines"].split("\n")]
        lines += ["", "The lines of the others: wearbook next --json."] if len(ways) > 1 else []
    return "\n".join(lines)


def _first_batches(found: Further) -> list[dict[Hashable, Any]]:
    """The batches with most for their price, and every later one that would settle what none before it would."""
    shown: list[dict[Hashable, Any]] = []
    settled: set[str] = set()
    for at, row in enumerate(found.runs.table.to_dict("records")):
        if at < _BATCHES or set(row["settles"]) - settled:
            shown.append(row)
            settled |= set(row["settles"])
    return shown


def _whole(value: float | None) -> str:
    """Hours or money without decimals; a dash where it is not told."""
    return "-" if value is None else f"{value:,.0f}"


def _frame(frame: pd.DataFrame) -> str:
    """A frame as text without its index."""
    return table(frame.astype(object).to_numpy().tolist(), list(frame.columns))


def table(rows: Sequence[Sequence[object]], head: Sequence[str]) -> str:
    """Rows as columns of text, two blanks between."""
    text = [[str(cell) for cell in row] for row in rows]
    widths = [max(len(name), *(len(row[at]) for row in text), 0) if text else len(name) for at, name in enumerate(head)]
    return "\n".join(
        "  " + "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in [list(head), *text]
    )


def _figure(value: object) -> str:
    """A number to three figures; a dash where there is none."""
    return "-" if value is None or pd.isna(value) else f"{float(str(value)):.3g}"


def _per_cent(value: float | None) -> str:
    """A share in per cent; a dash where there is none."""
    return "-" if value is None or pd.isna(value) else f"{100 * value:.0f} %"
