"""The INVENTED truths behind the bundled campaigns: what would be seen without scatter, and how large the
scatter is.

Rank 10. A scenario holds numbers only; ``demo.generator`` draws from it. Every number here is made up. The
timing-chain scenario is built to teach: with twelve runs the coated pin is clear, the new oil borderline,
and their interaction out of reach.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from toolkit.errors import BriefError, listing

# One or more (factor, level) pairs: the change holds where all of them are run.
Where = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Truth:
    """What is true of one response.

    On the log scale every change and SD is in ln and ``baseline`` is the median of the baseline
    combination; on the linear scale all are in the response's own unit.

    Attributes
    ----------
    response : str
    baseline : float
    changes : mapping of Where to float
        Added where all its levels are run.
    build_sd, run_sd, station_sd : float
        Between builds, between runs of a build, between stations of a part.
    station_shift : tuple of float
        Fixed position of each station; one nought where there are no stations.
    reading_sd : float
        Of one gauge reading, in the response's own unit.
    by_order_in_build, by_order_in_campaign : float
        Drift for each run within its build, and for each run since the first one of the main phase.
    scale : str
        log or linear.
    decimals : int
        Places the gauge shows.
    unworn : tuple of float or None
        Mean and SD of a station's value before the run where it is read before and after.
    """

    response: str
    baseline: float
    changes: Mapping[Where, float]
    build_sd: float
    run_sd: float
    station_sd: float = 0.0
    station_shift: tuple[float, ...] = (0.0,)
    reading_sd: float = 0.0
    by_order_in_build: float = 0.0
    by_order_in_campaign: float = 0.0
    scale: str = "log"
    decimals: int = 4
    unworn: tuple[float, float] | None = None

    def centre(self, levels: Mapping[str, str]) -> float:
        """The value of a combination without scatter on the analysis scale: ln of the median, or the mean."""
        start = math.log(self.baseline) if self.scale == "log" else self.baseline
        return start + sum(
            change for where, change in self.changes.items() if all(levels[factor] == level for factor, level in where)
        )


@dataclass(frozen=True)
class HeldTruth:
    """How a held variable varies between runs, and what a unit of it does to the first response (ln)."""

    name: str
    mean: float
    sd: float
    slope: float = 0.0
    decimals: int = 2


@dataclass(frozen=True)
class Incident:
    """Something that went wrong in one run, and what was decided about it.

    ``hours`` cuts the run short, ``held`` and ``shift`` move the mean of a held variable.
    """

    run_id: str
    verdict: str
    reason: str
    hours: float | None = None
    held: str | None = None
    shift: float = 0.0


@dataclass(frozen=True)
class Scenario:
    """An INVENTED campaign: truths of its responses, held variables, incidents, and what its log shows."""

    id: str
    hours: float
    truths: tuple[Truth, ...]
    held: tuple[HeldTruth, ...] = ()
    incidents: tuple[Incident, ...] = ()
    logged: Mapping[str, tuple[float, float, int]] | None = None
    metals: bool = False

    def incident_of(self, run_id: str) -> Incident | None:
        """What went wrong in a run, or None."""
        return next((item for item in self.incidents if item.run_id == run_id), None)


def of(campaign: str) -> Scenario:
    """The scenario of a bundled campaign by the campaign's id.

    Raises
    ------
    BriefError
        When no bundled campaign has this id.
    """
    known = {item.id: item for item in (CHAIN, TAPPET, SPROCKET)}
    if campaign not in known:
        told = f"'{campaign}': no scenario has this id, so no truth is known of it"
        raise BriefError(f"{told}; expected {listing(list(known))}.")
    return known[campaign]


# Timing-chain elongation with soot-laden oil. Two oils, two pins; a new chain, filter and fill in every
# run; an engine build holds the four combinations. Ten segments of 13 pitches (104 mm), each read twice
# before and twice after.
# One reading is good to 4 um on 104 mm: 0.0038 %-pt, so one before-and-after pair to 0.0054 %-pt.
CHAIN = Scenario(
    id="chain-soot",
    hours=100.0,
    truths=(
        Truth(
            response="elongation_pct",
            baseline=0.115,
            changes={(("pin", "P1"),): -0.25, (("oil", "O1"),): -0.16, (("pin", "P1"), ("oil", "O1")): -0.10},
            build_sd=0.08,
            run_sd=0.12,
            station_sd=0.15,
            station_shift=tuple(0.05 - 0.1 * place / 9 for place in range(10)),
            reading_sd=0.0054 / math.sqrt(2.0),
            by_order_in_build=0.015,
            by_order_in_campaign=0.004,
            unworn=(0.020, 0.010),
        ),
    ),
    held=(
        HeldTruth("sump_temp_degC", 100.0, 0.3, slope=0.010, decimals=1),
        HeldTruth("soot_pct", 3.0, 0.08, slope=0.12),
        HeldTruth("fuel_dilution_pct", 2.5, 0.25),
    ),
    incidents=(
        Incident(
            "R08",
            "invalid",
            "stopped at 41.3 h: coolant hose burst; chain measured, not to be compared",
            hours=41.3,
        ),
        Incident(
            "R10",
            "valid",
            "reviewed: sump 5 degC hot for 40 h (cooler valve stuck); within limits, run counts",
            held="sump_temp_degC",
            shift=2.0,
        ),
    ),
    logged={"downtime_h": (0.0, 8.0, 1), "channel_gap_h": (0.0, 0.4, 2), "si_ppm": (6.0, 12.0, 1)},
    metals=True,
)

# Mass loss of tappets with three finishes on a motored cylinder head: no builds, four tappets a run, each
# weighed once and written down as loss. The last run is still on the rig.
TAPPET = Scenario(
    id="tappet-finish",
    hours=20.0,
    truths=(
        Truth(
            response="mass_loss_mg",
            baseline=6.4,
            changes={(("finish", "honed"),): -0.12, (("finish", "superfinished"),): -0.45},
            build_sd=0.0,
            run_sd=0.20,
            station_sd=0.18,
            station_shift=(0.06, 0.0, 0.0, -0.06),
            reading_sd=0.10,
            decimals=2,
        ),
    ),
    held=(
        HeldTruth("gallery_temp_degC", 90.0, 0.4, slope=0.01, decimals=1),
        HeldTruth("camshaft_speed_rpm", 750.0, 1.0, decimals=0),
    ),
    incidents=(Incident("R15", "pending", ""),),
)

# Chain elongation with two sprockets and two oils: sprockets change with the build, so the build is their
# unit.
SPROCKET = Scenario(
    id="sprocket-build",
    hours=60.0,
    truths=(
        Truth(
            "elongation_um",
            820.0,
            {(("sprocket", "S1"),): -0.28, (("oil", "A1"),): -0.18},
            build_sd=0.07,
            run_sd=0.10,
            reading_sd=10.0,
            decimals=0,
        ),
        Truth(
            "drag_torque_Nm",
            4.80,
            {(("oil", "A1"),): -0.12},
            build_sd=0.05,
            run_sd=0.06,
            scale="linear",
            decimals=3,
        ),
    ),
    held=(HeldTruth("oil_temp_degC", 110.0, 0.4, decimals=1),),
)
