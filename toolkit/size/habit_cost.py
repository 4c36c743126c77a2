"""What the usual ways of testing cost on this rig: what they would claim, and how often wrongly (rank 5).

One run of each combination read as it is, one factor changed at a time, stations counted as if they were runs, and
looking after every block and stopping at the first answer. All at the scatter that the plan is sized with.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from toolkit import stamp
from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief, Comparison
from toolkit.design import factorial, questions, units
from toolkit.design.strata import Strata
from toolkit.numeric import habits, pilot_doubt
from toolkit.size import _habit_looks as looks
from toolkit.size import _habit_words as words
from toolkit.size._drawing import multipliers
from toolkit.size.scatter import Scatter

# The habits, in the order in which they are told. The last first looks when half of the blocks are made.
RAW = "one run of each combination, read as it is"
IN_TURN = "one factor changed at a time, read as it is"
STATIONS = "stations counted as runs"
BLOCKS = "a look after every block or repeat, stopping at the first answer"
RUNS = "a look after every run, stopping at the first answer"
ONE_MORE = "one more block or repeat as long as it is close"
CAMPAIGNS = 20_000
_VALUES = 240_000
MOST_RUNS = 60
_COLUMNS = (
    "habit",
    "comparison",
    "runs at most",
    "claims a difference where there is none (%)",
    "meant (%)",
    "ranks the wrong way round (%)",
)
_NODES = {1: 48, 2: 16, 3: 8}
_PLACE = 7_302


@dataclass(frozen=True)
class Habit:
    """One habit and one comparison.

    Attributes
    ----------
    habit : str
    comparison : str or None
        None: it does the same to every comparison (the worst of them is told).
    runs : int or None
        What it takes; the most of it where it may stop earlier.
    false_claims : float
        Share of campaigns that claim a difference where there is none.
    meant : float or None
        What is meant by it: the error rate the brief asks for; None where the habit has none in mind.
    wrong_way : float or None
        Share of campaigns that rank the two the wrong way round at the assumed change; None where the habit does not
        change it.
    sentence : str
    """

    habit: str
    comparison: str | None
    runs: int | None
    false_claims: float
    meant: float | None
    wrong_way: float | None
    sentence: str


@dataclass(frozen=True, eq=False)
class HabitCost:
    """The habits side by side for one response and one plan.

    Attributes
    ----------
    response, plan : str
    habits : tuple of Habit
    notes : tuple of str
        What could not be told, and what the numbers rest on.
    """

    response: str
    plan: str
    habits: tuple[Habit, ...]
    notes: tuple[str, ...]

    @property
    def table(self) -> pd.DataFrame:
        """One row a habit and comparison, shares in per cent."""
        rows = [
            (item.habit, item.comparison or "every one", item.runs, item.false_claims, item.meant, item.wrong_way)
            for item in self.habits
        ]
        made = pd.DataFrame(rows, columns=list(_COLUMNS), dtype=object)
        for name in _COLUMNS[3:]:
            made[name] = ["" if share is None else words.percent(share) for share in made[name]]
        return made

    def to_json(self) -> dict[str, object]:
        """The whole as plain data."""
        made = {"response": self.response, "plan": self.plan, "notes": list(self.notes)}
        return stamp.plain(made | {"habits": [dict(habit.__dict__) for habit in self.habits]})

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join([habit.sentence for habit in self.habits] + [f"note: {note}" for note in self.notes])

    def _repr_html_(self) -> str:
        """The table, then the sentences."""
        told = pd.DataFrame({"what the habit costs": [habit.sentence for habit in self.habits]})
        return self.table.to_html(index=False, escape=True) + told.to_html(index=False, escape=True)


def habit_cost(brief: Brief, laid: Strata, scatter: Scatter, *, plan: str, campaigns: int = 0) -> HabitCost:
    """What each habit would have claimed of the brief's comparisons on this rig, and how often wrongly.

    Parameters
    ----------
    brief : Brief
    laid : Strata
        The plan they are set beside.
    scatter : Scatter
        What the plan is sized with.
    plan : str
        Its name.
    campaigns : int
        Simulated for looks in between (0: 20,000, fewer where there are more than twelve runs); everything else is
        worked out.

    Returns
    -------
    HabitCost

    Raises
    ------
    SizingError
        When the scatter of a unit of the plan is not known.

    Notes
    -----
    Runs read as they are: a difference of at least the worthwhile change is taken for one; errors are normal, averaged
    over the pilot's doubt. Stations and looks: ``numeric.habits``, no true difference; what they do
    does not depend on the size of the scatter where all runs are judged by each other.

    Checked against: the rates of a 2x2 in blocks with ten stations by simulation (39 % where 5 % is meant), published
    probes of 9, 14 and 22 % for looks, tests/unit/size/test_habit_cost.py.
    """
    made_of = multipliers(scatter, laid)
    squares, weights = pilot_doubt.states(
        [(layer.value, layer.df) for layer in scatter.layers], nodes=_NODES[min(len(scatter.layers), 3)]
    )
    variances = dict(zip(laid.units, np.maximum(made_of @ squares, 0.0), strict=True))
    asked = [
        (item, questions.of_comparison(brief, item, laid.terms).row)
        for item in brief.comparisons
        if brief_model.assumed(brief, item, scatter.response) is not None
        and brief_model.worthwhile(brief, item, scatter.response) is not None
    ]
    notes: list[str] = []
    found = _single_runs(brief, laid, scatter, asked, variances, weights, notes)
    found += _in_turn(brief, laid, scatter, asked, variances, weights, notes)
    found += _stations(brief, laid, scatter, notes)
    found += _looks(
        brief, laid, scatter, asked, campaigns or min(CAMPAIGNS, max(2_000, _VALUES // len(laid.runs))), notes
    )
    if scatter.declared is not None:
        notes.append("the scatter is a declared guess; these shares are told for the middle of its range")
    if scatter.ends is not None:
        notes.append("the scatter is a bound; shares that grow with it are the most that they can be")
    return HabitCost(scatter.response.name, plan, tuple(found), tuple(notes))


Asked = Sequence[tuple[Comparison, np.ndarray]]


def _single_runs(
    brief: Brief,
    laid: Strata,
    scatter: Scatter,
    asked: Asked,
    variances: dict[str, np.ndarray],
    weights: np.ndarray,
    notes: list[str],
) -> list[Habit]:
    """One run of each combination of levels."""
    combinations = math.prod(len(factor.levels) for factor in brief.factors)
    if combinations > MOST_RUNS:
        notes.append(f"one run of each of the {combinations:,} combinations is more than {MOST_RUNS} runs, so not told")
        return []
    groups = math.prod(len(f.levels) for f in brief.factors if laid.plots and units.unit_of(brief, f) == laid.units[0])
    once = factorial.full(brief, builds=groups, replicates=1).strata
    inverse = np.linalg.pinv(once.full_columns)[: once.columns.shape[1]]
    made = []
    for item, _ in asked:
        row = questions.of_comparison(brief, item, once.terms).row
        if not once.estimable(row) or not np.abs(row).max() > 1e-12:
            continue
        made.append(_raw(brief, scatter, RAW, item, once.members, row @ inverse, variances, weights))
    return made


def _in_turn(
    brief: Brief,
    laid: Strata,
    scatter: Scatter,
    asked: Asked,
    variances: dict[str, np.ndarray],
    weights: np.ndarray,
    notes: list[str],
) -> list[Habit]:
    """A baseline run and one run with each factor changed; comparisons of a single factor."""
    made, untold = [], []
    for item, _ in asked:
        if item.interaction or len(item.of) != 1:
            untold.append(item.name)
            continue
        (name,) = item.of
        unit = units.unit_of(brief, brief.factor(name))
        # Two runs that differ in the factor alone: in different units of its kind and of every finer one.
        finer = list(laid.units)[list(laid.units).index(unit) :]
        groups = {each: np.arange(2) for each in finer}
        made.append(_raw(brief, scatter, IN_TURN, item, groups, np.array([1.0, -1.0]), variances, weights))
    if untold:
        notes.append(
            f"changing one factor at a time tells nothing of {' and '.join(untold)}, and of the others only what they "
            f"do beside the first levels"
        )
    return made


def _raw(
    brief: Brief,
    scatter: Scatter,
    habit: str,
    item: Comparison,
    groups: dict[str, np.ndarray],
    share: np.ndarray,
    variances: dict[str, np.ndarray],
    weights: np.ndarray,
) -> Habit:
    """A difference read as it is: claimed when it is as large as what is worthwhile."""
    gain = float(brief_model.assumed(brief, item, scatter.response) or 0.0)
    margin = float(brief_model.worthwhile(brief, item, scatter.response) or 0.0)
    variance = sum(
        variances[unit] * float((np.bincount(codes, weights=share) ** 2).sum()) for unit, codes in groups.items()
    )
    error = np.sqrt(variance)
    false = float(weights @ (2.0 * special.ndtr(-margin / error)))
    wrong = float(weights @ special.ndtr(-gain / error))
    runs = len(share) if habit == RAW else 2
    changes = [words.change(scatter.response, size) for size in (margin, gain)]
    text = words.raw(habit, item.name, false, wrong, *changes)
    return Habit(habit, item.name, runs, false, None, wrong, text)


def _stations(brief: Brief, laid: Strata, scatter: Scatter, notes: list[str]) -> list[Habit]:
    """Stations analysed as if each were a run."""
    stations = scatter.response.stations
    if stations is None or stations.count < 2:
        return []
    table = scatter.table
    lines = table[(table["stratum"] == "station") & table["sd"].notna()]
    if lines.empty:
        notes.append("what counting stations as runs costs needs the station values of a pilot")
        return []
    if laid.plots:
        notes.append("what counting stations as runs costs is told where all runs are judged by each other")
        return []
    spread, df = float(lines["sd"].iloc[0]), int(laid.stratum("run").error_df or 0)
    if df < 1:
        return []
    # The share of the stations cannot be more than the scatter of the run values that they make.
    whole = max(scatter.run.value, spread**2 / stations.count)
    false = habits.stations_as_runs(whole, spread**2, stations.count, len(laid.runs), df, alpha=brief.alpha)
    text = words.stations(stations, len(laid.runs), false, brief.alpha)
    return [Habit(STATIONS, None, len(laid.runs), false, brief.alpha, None, text)]


def _looks(brief: Brief, laid: Strata, scatter: Scatter, asked: Asked, campaigns: int, notes: list[str]) -> list[Habit]:
    """Looks after every block and after every run, and one block more while it is close."""
    by_block, by_run = looks.p_values(laid, scatter, [row for _, row in asked], campaigns, [brief.seed, _PLACE])
    if by_block.shape[1] < 2:
        notes.append("looks after every block are told where at least two of them can be analysed")
        return []
    late = by_block[:, by_block.shape[1] // 2 - 1 :]
    made = []
    for habit, found, rate in (
        (BLOCKS, by_block, habits.stops),
        (RUNS, by_run, habits.stops),
        (ONE_MORE, late, habits.goes_on),
    ):
        if found.shape[1] > 1:
            shares = [rate(found[:, :, at], alpha=brief.alpha) for at in range(len(asked))]
            text = words.looks(habit, found.shape[1], max(shares), brief.alpha)
            made.append(Habit(habit, None, len(laid.runs), max(shares), brief.alpha, None, text))
    return made
