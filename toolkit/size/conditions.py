"""What may happen to a simulated campaign that no plan foresees: drift, lost runs, covariates, stations (rank 5)."""

from __future__ import annotations

from dataclasses import dataclass

from toolkit.brief.model import Brief
from toolkit.design import strata
from toolkit.errors import Fault, SizingError, raise_all
from toolkit.size.scatter import Scatter

# A rig that is lost track of now and then, where the brief expects no lost run at all.
_LOST = 0.1
# One SD between runs over the campaign, or at once; a third of it from each run to the next (common practice: none is
# measured, they are sizes to try).
_DRIFT, _WANDER, _CARRIED = 1.0, 0.3, 1.0 / 3.0


@dataclass(frozen=True)
class Conditions:
    """What a simulated campaign goes through. All sizes are on the analysis scale: ln on the log scale, else the unit.

    Attributes
    ----------
    name : str
        What these conditions are called in tables.
    lost_share : float
        Share of the runs that are lost at random, 0 to below 1; a lost run is not made up for.
    steady : float
        Drift from the first run of the campaign to the last, the same step from each run to the next.
    wander : float
        SD of a random step from each run to the next (a random walk).
    jump : float
        Size of one step, once, at a place drawn anew in each campaign.
    station_trend : float
        Change from the first station of a part to the last, where the response has stations.
    station_sd, reading_sd : float or None
        SD of stations of one run beside that trend, and of one reading; None: the run value is drawn as a whole.
    covariate_share : float
        Share of the scatter between runs that a covariate carries (hardness of the part, say), 0 to below 1.
    covariate_known : bool
        True when that covariate is measured and taken out in the analysis.
    below_share : float
        Share of the run values of a campaign without effects that lie below the limit of detection, 0 to below 1.
    """

    name: str = "as planned"
    lost_share: float = 0.0
    steady: float = 0.0
    wander: float = 0.0
    jump: float = 0.0
    station_trend: float = 0.0
    station_sd: float | None = None
    reading_sd: float | None = None
    covariate_share: float = 0.0
    covariate_known: bool = False
    below_share: float = 0.0

    @property
    def plain(self) -> bool:
        """True when nothing happens beside what the plan foresees, so that the promise told for it should hold."""
        drifting = self.lost_share or self.steady or self.wander or self.jump or self.below_share
        return not (drifting or (self.covariate_share and self.covariate_known))


def check(asked: Conditions) -> None:
    """Refuse conditions that cannot be simulated.

    Parameters
    ----------
    asked : Conditions

    Raises
    ------
    SizingError
        With every fault at once.

    Notes
    -----
    Checked against: refusals, tests/unit/size/test_simulate.py.
    """
    faults = []
    for name in ("lost_share", "covariate_share", "below_share"):
        value = getattr(asked, name)
        if not 0.0 <= value < 1.0:
            faults.append(Fault(name, f"{value:g} was given", "a share from 0 to below 1"))
    for name in ("wander", "station_sd", "reading_sd"):
        value = getattr(asked, name)
        if value is not None and not 0.0 <= value < float("inf"):
            faults.append(Fault(name, f"{value:g} was given", "an SD of 0 or more, on the analysis scale"))
    for name in ("steady", "jump", "station_trend"):
        value = getattr(asked, name)
        if not abs(value) < float("inf"):
            faults.append(Fault(name, f"{value:g} was given", "a finite number on the analysis scale"))
    raise_all(SizingError, f"The conditions '{asked.name}' cannot be simulated.", faults)


def usual(brief: Brief, scatter: Scatter) -> list[Conditions]:
    """What a plan is tried under when nothing else is asked: as planned, runs lost at random, three kinds of drift, and
    each covariate of the brief that is known before the run taken out.

    Parameters
    ----------
    brief : Brief
        Its share of lost runs is taken; where it has none, a tenth.
    scatter : Scatter
        Drift is told in SDs between runs; station and reading scatter are drawn where the pilot tells them.

    Notes
    -----
    Checked against: tests/unit/campaign/test_simulating.py.
    """
    table = scatter.table
    lines = {row["stratum"]: row["sd"] for row in table.to_dict("records") if row["stratum"] in ("station", "reading")}
    sampled = {}
    if scatter.response.stations is not None and lines.get("station") is not None:
        sampled = {"station_sd": float(lines["station"]), "reading_sd": float(lines.get("reading") or 0.0)}
    lost = brief.cost.lost_runs_pct / 100.0 or _LOST
    taken = [
        Conditions(f"{item.name} carries a third of the scatter", covariate_share=_CARRIED, covariate_known=True)
        for item in brief.covariates
        if item.before_run and strata.layout_of(brief) in (strata.RANDOMISED, strata.BLOCKS)
    ]
    return [
        Conditions(**sampled),
        Conditions(f"{100.0 * lost:g} % of the runs lost at random", lost_share=lost),
        Conditions("a steady drift, one run SD in all", steady=_DRIFT * scatter.sd),
        Conditions("a wandering rig, 0.3 run SDs a run", wander=_WANDER * scatter.sd),
        Conditions("a step of one run SD", jump=_DRIFT * scatter.sd),
        *taken,
    ]
