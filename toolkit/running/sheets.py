"""What stands on the sheet of a run: build instruction, work in order, windows, rules; nothing expected (rank 5)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import pandas as pd

from toolkit import measured_in, stamp
from toolkit.brief import by_position
from toolkit.brief.covariate import RUN_ORDER, Covariate
from toolkit.brief.model import Brief, Held
from toolkit.brief.oil import SUMP_VISCOSITY
from toolkit.brief.positions import POSITION, column
from toolkit.design import units
from toolkit.errors import DesignError
from toolkit.running.register import Register

RESULT = "result, once the verdict is given"
YES_NO = ("yes", "no")
_LONGEST_LIST = 250


@dataclass(frozen=True)
class Line:
    """One thing to do or to write down.

    Attributes
    ----------
    what : str
        In words.
    column : str
        Its column in the records; empty for a thing that is only ticked.
    unit : str
    rule : str
        What was planned, the window and the limits: beside the box.
    choices : tuple of str
        What may be entered; a tick is yes or no.
    between : tuple of float or None
        The window; the lower bound may be -inf.
    told : str
        What a number outside means.
    number : bool
        Whether a number is entered.
    """

    what: str
    column: str = ""
    unit: str = ""
    rule: str = ""
    choices: tuple[str, ...] = ()
    between: tuple[float, float] | None = None
    told: str = ""
    number: bool = False

    @property
    def tick(self) -> bool:
        """True for a thing that is only ticked."""
        return not self.column and self.choices == YES_NO


@dataclass(frozen=True)
class RunSheet:
    """The sheet of one run.

    ``instruction`` holds what to build as (what, how) pairs, ``parts`` the sections of the work as (title, lines),
    ``void`` the rules under which the run does not count. ``row`` is the checksum of the run's row in the plan.
    """

    campaign: str
    run_id: str
    phase: str
    place: str
    instruction: tuple[tuple[str, str], ...]
    parts: tuple[tuple[str, tuple[Line, ...]], ...]
    void: tuple[str, ...]
    seal: str
    row: str
    head: str


def row_checksum(row: Mapping[str, object]) -> str:
    """The checksum of a run's row in the plan: a sheet stays good while its row is what it was.

    Parameters
    ----------
    row : mapping
        The columns of the plan's runs.csv, as text or numbers.
    """
    return stamp.checksum({name: str(value) for name, value in row.items()})


def run_sheets(
    brief: Brief, runs: pd.DataFrame, register: Register, *, seal: str, head: str, verdicts: Sequence[str]
) -> tuple[RunSheet, ...]:
    """One sheet a run, in planned order.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        The sealed run list of one phase.
    register : Register
        Of the same phase.
    seal, head : str
        The plan's seal, and the records head it was sealed under.
    verdicts : sequence of str
        The words a run may be judged with.

    Raises
    ------
    DesignError
        When the register is of another phase.
    """
    if runs["phase"].iloc[0] != register.phase:
        raise DesignError(f"The register is of the {register.phase} phase, the runs are not. Make them from one plan.")
    parts = register.parts
    samples = register.samples
    # Runs that an amendment took out leave their places empty.
    last = max(int(place) for place in runs["planned_order"])
    sheets, before = [], None
    kept = units.kept(brief)
    for row in runs.to_dict("records"):
        new = before is None or row["build_id"] != before["build_id"]
        columns = [units.COLUMNS[unit] for unit in kept]
        fresh = [
            new or any(row[name] != before[name] for name in columns[: at + 1]) for at in range(len(kept))
        ]
        before = row
        own = parts[parts["run_id"] == row["run_id"]]
        part, inside = _parts_of(brief, own)
        drawn = samples[samples["run_id"] == row["run_id"]]
        labels = [(f"{hour} h", str(code)) for hour, code in zip(drawn["at_h"], drawn["sample_id"], strict=True)]
        sheets.append(
            RunSheet(
                campaign=brief.id,
                run_id=str(row["run_id"]),
                phase=str(row["phase"]),
                place=f"{row['planned_order']} of {last}",
                instruction=_instruction(brief, row, part, new, dict(zip(kept, fresh, strict=True)), inside),
                parts=(
                    ("before", _before(brief, row, part, inside)),
                    ("during", _during(brief, labels)),
                    ("after", _after(brief)),
                    ("verdict", _verdict(verdicts)),
                    *_result(brief),
                ),
                void=_void(brief),
                seal=seal,
                row=row_checksum(row),
                head=head,
            )
        )
    return tuple(sheets)


def _parts_of(brief: Brief, own: pd.DataFrame) -> tuple[str, dict[str, str]]:
    """The part of a run, and those of its positions in order; '' where the run has none but these."""
    if POSITION not in own:
        return str(own["part_id"].iloc[0]), {}
    found = dict(zip(own[POSITION], own["part_id"].astype(str), strict=True))
    return found.get("", ""), {name: found[name] for name in brief.positions.names}


def _instruction(
    brief: Brief,
    row: Mapping[str, object],
    part: str,
    new: bool,
    fresh: Mapping[str, bool],
    inside: Mapping[str, str],
) -> tuple[tuple[str, str], ...]:
    """What to build: the build, what is kept over several runs, every factor's level with its meaning, the part."""
    build = f"{row['build_id']}{': a new build starts with this run' if new else ''}"
    levels = [
        (measured_in.label(name) if brief.factor(name).numeric else name, _level(brief, name, str(row[name])))
        for name in (item.name for item in by_position.of_whole_runs(brief))
    ]
    levels += [(name, _in_position(brief, row, name, code)) for name, code in inside.items()]
    kept = [
        (units.NAMES[unit], f"{row[units.COLUMNS[unit]]}: {'a new one starts with this run' if start else 'keep it'}")
        for unit, start in fresh.items()
    ]
    code = f"{part} for this run (the set of parts has a code of its own in every run)" if "part" in fresh else part
    return (("build", build), *kept, *levels, *((("part", code),) if part else ()))


def _in_position(brief: Brief, row: Mapping[str, object], position: str, code: str) -> str:
    """What goes into a position: 'ring R2 (coating two), part BX123'."""
    held = [
        f"{item.name} {_level(brief, item.name, str(row[column(item.name, position)]))}"
        for item in by_position.factors(brief)
    ]
    return f"{', '.join(held)}, part {code}"


def _level(brief: Brief, name: str, level: str) -> str:
    """A level with what it means."""
    meant = brief.factor(name).label_of(level)
    return meant if level in meant.split(" ")[:1] else f"{level} ({meant})"


def _before(brief: Brief, row: Mapping[str, object], part: str, inside: Mapping[str, str]) -> tuple[Line, ...]:
    """What is done and written down before the start."""
    lines = [
        Line("Place in the order as made", "actual_order", rule=f"planned: {row['planned_order']}", number=True),
        Line("Build that runs", "build_id", rule=f"planned: {row['build_id']}"),
    ]
    for unit in units.kept(brief):
        name = units.COLUMNS[unit]
        lines.append(Line(f"{units.NAMES[unit].capitalize()} that runs", name, rule=f"planned: {row[name]}"))
    for name in (item.name for item in by_position.of_whole_runs(brief)):
        level = str(row[name])
        choices = tuple(dict.fromkeys((*brief.factor(name).names, level)))
        lines.append(
            Line(
                f"{name} as built",
                name,
                brief.factor(name).measured_in,
                f"planned: {level}",
                choices if len(",".join(choices)) <= _LONGEST_LIST else (),
            )
        )
    for position, code in inside.items():
        for item in by_position.factors(brief):
            name = column(item.name, position)
            choices = item.names if len(",".join(item.names)) <= _LONGEST_LIST else ()
            lines.append(Line(f"{item.name} in {position}", name, item.measured_in, f"planned: {row[name]}", choices))
        lines.append(Line(f"Code of the part in {position}", column("part_id", position), rule=f"planned: {code}"))
    if part:
        lines.append(Line("Code of the part fitted", "part_id", rule=f"planned: {part}"))
        lines.append(Line("Serial of the part fitted", "serial"))
    lines.append(Line("Drum the oil came from", "oil_drum"))
    if any(item.stations for item in brief.responses):
        lines.append(Line("Part measured before the run", choices=YES_NO))
    lines.append(Line("Site's own start checks done", choices=YES_NO))
    lines += [_covariate(item) for item in _covariates(brief) if item.before_run]
    lines.append(Line("Started", "started_at", rule="as 2026-03-31 14:05"))
    return tuple(lines)


def _during(brief: Brief, labels: Sequence[tuple[str, str]]) -> tuple[Line, ...]:
    """What is drawn and written down during the run."""
    lines = [Line(f"Oil sample at {at}", rule=f"label {code}", choices=YES_NO) for at, code in labels]
    for item in brief.held:
        if item.name != "run_time_h":
            lines.append(_held(item))
    lines += [_covariate(item) for item in _covariates(brief) if not item.before_run]
    for name, bound in _bounded(brief).items():
        lines.append(
            Line(
                _words(name),
                name,
                measured_in.shown(name),
                f"void above {bound:g}",
                between=(float("-inf"), float(bound)),
                told=f"Above {bound:g} the run is void by the protocol. Keep the true figure and give the reason.",
                number=True,
            )
        )
    return tuple(lines)


def _after(brief: Brief) -> tuple[Line, ...]:
    """What is written down after the stop."""
    lines = [Line("Stopped", "stopped_at", rule="as 2026-03-31 14:05")]
    run = brief.protocol.run_time_h
    lines.append(_held(run) if run else Line("Run time", "run_time_h", "h", number=True))
    lines.append(Line("Part bagged, code label only", choices=YES_NO))
    if any(item.stations for item in brief.responses):
        lines.append(Line("Part handed to metrology", choices=YES_NO))
    return tuple(lines)


def _verdict(verdicts: Sequence[str]) -> tuple[Line, ...]:
    """How the run is judged, before wear has been looked at."""
    return (
        Line("Verdict (wear not yet seen)", "verdict", choices=tuple(verdicts)),
        Line("Reason", "reason"),
        Line("Judged by (role)", "role"),
    )


def _result(brief: Brief) -> tuple[tuple[str, tuple[Line, ...]], ...]:
    """What the run itself gives of a response: below the verdict, so that whoever judges has not seen it."""
    lines = [Line(_words(item.name), item.name, item.measured_in, number=True)
             for item in brief.responses if item.source == "runs"]  # fmt: skip
    return ((RESULT, tuple(lines)),) if lines else ()


def _held(item: Held) -> Line:
    """The line of a held variable, its window and limits beside the box."""
    low, high = item.window
    limits = f"; void outside {item.limits[0]:g} to {item.limits[1]:g}" if item.limits else ""
    return Line(
        _words(item.name),
        item.name,
        measured_in.shown(item.name),
        f"{low:g} to {high:g}{limits}",
        between=(float(low), float(high)),
        told=f"Outside {low:g} to {high:g} the run goes to review. Keep the true figure.",
        number=True,
    )


def _void(brief: Brief) -> tuple[str, ...]:
    """The rules under which a run does not count, in words."""
    rules = [f"{_words(name)} above {_quantity(bound, name)}" for name, bound in brief.protocol.max.items()]
    held = [*brief.held, *([brief.protocol.run_time_h] if brief.protocol.run_time_h else [])]
    rules += [
        f"{_words(item.name)} outside {item.limits[0]:g} to {_quantity(item.limits[1], item.name)}"
        for item in held
        if item.limits
    ]
    return tuple(rules)


def _bounded(brief: Brief) -> dict[str, float]:
    """Columns that the protocol bounds and that have no line of their own elsewhere."""
    taken = {"run_time_h", *(item.name for item in brief.held)}
    taken |= {item.name for item in brief.responses if item.source == "runs"}
    return {name: bound for name, bound in brief.protocol.max.items() if name not in taken}


def _covariates(brief: Brief) -> list[Covariate]:
    """Covariates that have no line of their own elsewhere."""
    taken = {RUN_ORDER, "run_time_h", *(item.name for item in brief.held), *_bounded(brief)}
    if brief.oil is not None and brief.oil.viscosity_at:
        taken.add(SUMP_VISCOSITY)
    return [item for item in brief.covariates if item.name not in taken]


def _covariate(item: Covariate) -> Line:
    """The line of a covariate."""
    return Line(_words(item.name), item.name, measured_in.shown(item.name), number=True)


def _words(name: str) -> str:
    """A column's name in words, a capital first."""
    told = measured_in.label(name)
    return told[:1].upper() + told[1:]


def _quantity(value: float, name: str) -> str:
    """A number with its unit."""
    return f"{value:g} {measured_in.shown(name)}".strip()
