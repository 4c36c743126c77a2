"""How runs, stations and readings are best shared out: the best for a budget, the cheapest for a promise (rank 5).

Every split is tried; nothing is approximated by a formula for the optimum.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from toolkit import stamp
from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief, Comparison, Response
from toolkit.design import questions
from toolkit.design.design import Design
from toolkit.numeric import noncentral, promise
from toolkit.size import _errors as errors
from toolkit.size import money
from toolkit.size import promise as size_promise
from toolkit.size._guesses import over_range
from toolkit.size.scatter import Scatter

MOST_READINGS = 6
COLUMNS = (
    "plan",
    "runs",
    "builds",
    "stations",
    "readings",
    "hours",
    "cost",
    "within_budget",
    "sd_of_run_value",
    "half_width",
    "reached",
)


@dataclass(frozen=True)
class Components:
    """What a run value's scatter is made of: variances between runs, of one station, of one reading, as measured."""

    run: float
    station: float
    reading: float
    stations: int
    readings: int
    floored: bool

    def variance(self, stations: float, readings: float) -> float:
        """The variance of a run value from so many stations and readings; both may be infinite."""
        return self.run + self.station / stations + self.reading / (stations * readings)

    def within(self, value: float) -> Components:
        """The same, where stations scatter by more than a run value does by itself: drawn in to its variance."""
        if not self.floored:
            return self
        share = value / self.variance(self.stations, self.readings)
        return replace(self, station=share * self.station, reading=share * self.reading)


@dataclass(frozen=True, eq=False)
class Split:
    """Every way to share out runs, stations and readings for one comparison.

    Attributes
    ----------
    response, comparison : str
    components : Components
    table : DataFrame
        One row a plan and a number of stations and readings: plan, runs, builds, stations, readings, hours, cost,
        within_budget, sd_of_run_value, half_width (of the interval at the scatter as estimated, on the analysis
        scale), reached (the asked power, averaged over the doubt).
    best : dict or None
        The row within the budget with the smallest half-width, the cheaper one where two are equal, and its
        assurance; None without a budget, or where none fits.
    cheapest : dict or None
        The cheapest row that reaches the asked power, and its assurance; None where none does.
    curve : DataFrame
        stations, readings, sd_of_run_value, times_least: as planned otherwise, against endless stations and readings.
    sentences : tuple of str
    """

    response: str
    comparison: str
    components: Components
    table: pd.DataFrame
    best: dict[str, object] | None
    cheapest: dict[str, object] | None
    curve: pd.DataFrame
    sentences: tuple[str, ...]

    def to_json(self) -> dict[str, object]:
        """What was found as plain data, without the table of every split."""
        return stamp.plain(
            {
                "response": self.response,
                "comparison": self.comparison,
                "splits_tried": len(self.table),
                "sd_between_runs": math.sqrt(self.components.run),
                "sd_of_station": math.sqrt(self.components.station),
                "sd_of_reading": math.sqrt(self.components.reading),
                "best_for_budget": self.best,
                "cheapest_for_promise": self.cheapest,
                "stations": stamp.records(self.curve),
                "sentences": list(self.sentences),
            }
        )

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join(self.sentences)


def components_of(scatter: Scatter) -> Components | str:
    """What a run value's scatter is made of, or why it cannot be told.

    Parameters
    ----------
    scatter : Scatter
        With lines of stations, and of readings where stations were read several times.

    Notes
    -----
    The share of stations and readings is taken from the mean square between runs that the sizing rests on; what is
    left is between runs, not below nought (variance components of a balanced nested layout, textbook).

    Checked against: components put in by hand, tests/unit/size/test_split.py.

    Examples
    --------
    The pilot of the chain campaign, ten segments a chain, each read twice before and twice after:

    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("chain-soot", place, phases=("pilot",), recordings=False)
    ...     records = campaign.records()
    >>> from toolkit.campaign import sizing
    >>> made = components_of(sizing.known(campaign, records)[0][0])
    >>> [f"{name}: SD of ln {getattr(made, name) ** 0.5:.2f}" for name in ("run", "station", "reading")]
    ['run: SD of ln 0.12', 'station: SD of ln 0.12', 'reading: SD of ln 0.05']
    """
    response = scatter.response
    if response.stations is None:
        return f"{response.name} has no stations"
    if response.per_run not in ("mean", "mean_of_log"):
        return f"the run value of {response.name} is the {response.per_run} over stations, which is not a sum of parts"
    if not scatter.run_known:
        return "the scatter between runs of a build is not known"
    own = scatter.table
    found = {
        name: own.loc[(own["stratum"] == name) & own["sd"].notna(), "sd"].astype(float).tolist()
        for name in ("station", "reading")
    }
    if not found["station"]:
        return f"no records of single stations of {response.name} tell how much they scatter"
    # Without lines of readings their share is in that of the stations.
    station, reading = found["station"][0] ** 2, found["reading"][0] ** 2 if found["reading"] else 0.0
    count, times = response.stations.count, response.stations.readings
    left = scatter.run.value - station / count - reading / (count * times)
    return Components(max(left, 0.0), station, reading, count, times, left <= 0.0)


def split(
    designs: Sequence[Design], scatter: Scatter, comparison: Comparison, *, standing: pd.DataFrame | None = None
) -> Split | str:
    """Every split of runs, stations and readings for one comparison; or why none can be told.

    Parameters
    ----------
    designs : sequence of Design
        Of one brief, one phase and one kind.
    scatter : Scatter
    comparison : Comparison
    standing : DataFrame, optional
        As for ``size.promise.claims``.

    Returns
    -------
    Split or str

    Notes
    -----
    Stations from 1 to what the brief says a part has, readings from 1 to 6 or what the brief says; as the brief has
    them where no item is priced per station or reading (more would look free) or the pilot does not tell what they buy.
    The classic optimum of continuous shares (W. G. Cochran, Sampling Techniques, 1977, from memory) divides runs.

    Checked against: exhaustive search written by itself, with scipy's noncentral t; tests/unit/size/test_split.py.
    """
    parts = components_of(scatter)
    if isinstance(parts, str):
        return parts
    brief, response = designs[0].brief, scatter.response
    gain = brief_model.assumed(brief, comparison, response)
    if gain is None:
        return f"no worthwhile change is stated for {response.name}"
    laid = size_promise.as_judged(designs, standing)
    row = questions.of_comparison(brief, comparison, laid[0].terms).row
    kept = [at for at, judged in enumerate(laid) if judged.balanced and judged.estimable(row)]
    kept = [at for at in kept if min(part.error_df for part in laid[at].parts(row)) >= 1]
    if not kept:
        return "no plan here has exact mean squares for this comparison"
    designs, laid = [designs[at] for at in kept], [laid[at] for at in kept]
    aims = {}
    for design, judged in zip(designs, laid, strict=True):
        error = errors.error_of(scatter, [judged], [judged.parts(row)])
        if isinstance(error, str):
            return error
        alpha, _ = size_promise.judged_at(judged, comparison)
        aims[design.name] = _Aim(error, scatter, gain, alpha, brief.power)
    choices = {choice: _shares(brief, response, *choice) for choice in _choices(brief, parts)}
    # A plan with stations and readings as the brief has them must be promised what it is promised elsewhere.
    judged_by = parts.within(scatter.run.value)
    table = pd.concat([_rows(design, judged_by, aims[design.name], choices) for design in designs], ignore_index=True)
    inside, reach = table[table["within_budget"]], table[table["reached"]]
    best = cheapest = None
    if brief.cost.budget is not None and not inside.empty:
        best = _first(inside, ["half_width", "cost"])
    if not reach.empty:
        cheapest = _first(reach, ["cost", "half_width"])
    for chosen in (best, cheapest):
        if chosen is not None:
            chosen["assurance"] = aims[str(chosen["plan"])].assurance(float(str(chosen["sd_of_run_value"])) ** 2)
    made = Split(response.name, comparison.name, parts, table, best, cheapest, _curve(judged_by), ())
    return replace(made, sentences=_sentences(brief, response, made))


def _choices(brief: Brief, parts: Components) -> list[tuple[int, int]]:
    """Every number of stations and readings that is tried; what has no price, or is not told, stays as in the brief."""
    paid = {item.per for item in brief.cost.items} if not parts.floored else set()
    all_stations = range(1, parts.stations + 1) if paid & {"station", "reading"} else (parts.stations,)
    more = "reading" in paid and parts.reading > 0.0
    all_readings = range(1, max(MOST_READINGS, parts.readings) + 1) if more else (parts.readings,)
    return [(stations, readings) for stations in all_stations for readings in all_readings]


@dataclass(frozen=True, eq=False)
class _Aim:
    """What the splits of one plan are judged by: its error, scatter, true gain, error rate and the power asked."""

    as_known: errors.Error
    scatter: Scatter
    gain: float
    alpha: float
    power: float

    def error(self, variance: float) -> errors.Error:
        """The error of the contrast where run values have this variance, which stands once in every mean square."""
        # Never nothing: a run value that does not scatter at all is no plan.
        moved = self.as_known.squares - (self.scatter.run.value - variance)
        return replace(self.as_known, squares=np.maximum(moved, 1e-12 * self.scatter.run.value))

    def half_width(self, variance: float) -> float:
        """Half the interval at the scatter as estimated."""
        error = self.error(variance)
        return float(noncentral.critical_t(error.df, alpha=self.alpha)[0] * np.sqrt(error.variance[0]))

    def assurance(self, variance: float) -> float:
        """The chance that the difference is shown, averaged over the doubt."""
        error = self.error(variance)
        return sum(
            weight
            * float(
                promise.assurance(self.gain, error.parts, error.pilot(factor), alpha=self.alpha, link=error.link)[0]
            )
            for weight, factor in over_range(self.scatter)
        )

    def most(self, variances: Sequence[float]) -> float:
        """The largest of several variances of a run value at which the power is reached; 0 where there is none.

        The less a run value scatters the surer a difference is shown, so that halving the list finds it.
        """
        ordered = sorted(variances)
        low, high = 0, len(ordered)
        while low < high:
            middle = (low + high) // 2
            if self.assurance(ordered[middle]) >= self.power:
                low = middle + 1
            else:
                high = middle
        return ordered[low - 1] if low else 0.0


def _rows(
    design: Design, parts: Components, aim: _Aim, choices: dict[tuple[int, int], dict[str, float]]
) -> pd.DataFrame:
    """One row a split of a plan, with its price."""
    budget = design.brief.cost.budget
    lines = money.of_items(design)
    variances = {choice: parts.variance(*choice) for choice in choices}
    most = aim.most(list(variances.values()))
    held = {"plan": design.name, "runs": design.runs, "builds": design.builds}
    per = lines["per"].tolist()
    hours, cost = lines["hours"].to_numpy(dtype=float), lines["cost"].to_numpy(dtype=float)
    rows = []
    for (stations, readings), variance in variances.items():
        shares = choices[stations, readings]
        times = np.array([shares.get(name, 1.0) for name in per])
        paid = float(cost @ times)
        rows.append(
            {
                **held,
                "stations": stations,
                "readings": readings,
                "hours": float(hours @ times),
                "cost": paid,
                "within_budget": budget is None or paid <= budget,
                "sd_of_run_value": math.sqrt(variance),
                "half_width": aim.half_width(variance),
                "reached": variance <= most,
            }
        )
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _shares(brief: Brief, response: Response, stations: int, readings: int) -> dict[str, float]:
    """What other stations and readings of a response do to the count of items per station and reading."""
    sampled = replace(response, stations=replace(response.stations, count=stations, readings=readings))
    other = replace(brief, responses=tuple(sampled if item.name == response.name else item for item in brief.responses))
    return {per: money.within_run(other, per) / money.within_run(brief, per) for per in ("station", "reading")}


def _first(rows: pd.DataFrame, by: list[str]) -> dict[str, object]:
    """The first row in an order, as a dictionary."""
    # A half-width that differs in its last digit only is the same.
    ordered = rows.assign(**{name: rows[name].round(9) for name in by}).sort_values([*by, "runs", "stations"])
    return {str(key): value for key, value in rows.loc[ordered.index[0]].to_dict().items()}


def _curve(parts: Components) -> pd.DataFrame:
    """The SD of a run value by number of stations, and against endless ones."""
    least = math.sqrt(parts.run)
    rows = []
    for stations in range(1, parts.stations + 1):
        sd = math.sqrt(parts.variance(stations, parts.readings))
        rows.append(
            {
                "stations": stations,
                "readings": parts.readings,
                "sd_of_run_value": sd,
                "times_least": sd / least if least > 0.0 else None,
            }
        )
    return pd.DataFrame(rows)


def _sentences(brief: Brief, response: Response, found: Split) -> tuple[str, ...]:
    """What stations buy, and how the money is best shared out."""
    parts = found.components
    now, least = math.sqrt(parts.variance(parts.stations, parts.readings)), math.sqrt(parts.run)
    unit = " (SD of ln)" if response.scale == "log" else f" {response.measured_in}".rstrip()
    kind = response.stations.kind if response.stations is not None else "station"
    if parts.floored:
        first = (
            f"The pilot cannot tell the scatter between runs from that of the {kind}s: what stations would buy is not "
            f"told by it, and their number stays as the brief has it. They never replace runs."
        )
    else:
        first = (
            f"Stations sharpen a run value and never replace runs: with {parts.stations} {kind}s read "
            f"{_times(parts.readings)} a run value scatters by {now:.3g}{unit}, with endless {kind}s and readings "
            f"still by {least:.3g}: {100 * parts.run / now**2:.0f} % of its variance lies between runs, and only more "
            f"runs lessen what that does to an answer."
        )
    made = [first]
    if not any(item.per in ("station", "reading") for item in brief.cost.items):
        made.append("The price list has no item per station or reading, so that only runs are shared out here.")
    if found.best is not None:
        made.append(f"For the budget {found.comparison} is known best from {_told(brief, response, found.best)}.")
    asked = f"{100 * brief.power:g} %"
    if found.cheapest is not None:
        made.append(f"The cheapest way to {asked} for {found.comparison}: {_told(brief, response, found.cheapest)}.")
    else:
        made.append(f"No split of up to {max(found.table['runs'])} runs reaches {asked} for {found.comparison}.")
    return tuple(made)


def _told(brief: Brief, response: Response, row: dict[str, object]) -> str:
    """A split in words."""
    width = float(str(row["half_width"]))
    reach = f"x/÷ {math.exp(width):.2f}" if response.scale == "log" else f"±{width:.3g} {response.measured_in}".rstrip()
    kind = response.stations.kind if response.stations is not None else "station"
    cost = f", {float(str(row['cost'])):,.0f} {brief.cost.currency}".rstrip() if brief.cost.items else ""
    count = int(str(row["stations"]))
    return (
        f"{row['runs']} runs ({row['plan']}) with {count} {kind}{'' if count == 1 else 's'} read "
        f"{_times(int(str(row['readings'])))}{cost}: interval {reach} at the scatter as estimated, chance shown "
        f"{100 * float(str(row['assurance'])):.0f} %"
    )


def _times(count: int) -> str:
    """once, twice, 3 times."""
    return {1: "once", 2: "twice"}.get(count, f"{count} times")
