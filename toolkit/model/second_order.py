"""A response surface in the units of the brief: where it is level, how sure that is, the best setting within limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from scipy import special

from toolkit import measured_in, stamp
from toolkit.brief import axial_points, optimal
from toolkit.brief.designs import SECOND_ORDER
from toolkit.design import base
from toolkit.model.fit import Fit
from toolkit.numeric import second_order as numeric
from toolkit.numeric import surface_settings
from toolkit.numeric.second_order import MAXIMUM, MINIMUM, SecondOrder, Stationary
from toolkit.numeric.surface_settings import Best, Region

SETTINGS = (
    *("factor", "measured_in", "stationary", "region_low", "region_high", "region_at_limit"),
    *("best", "best_at_limit"),
)
AXES = ("axis", "eigenvalue", "std_error", "told_from_nought", "direction")
# Parts of a direction smaller than this are not named.
_NAMED = 0.3


@dataclass(frozen=True, eq=False)
class Surface:
    """What a response surface says.

    Attributes
    ----------
    fit : Fit
    surface : SecondOrder
        Fitted in coded units, on the analysis scale.
    stationary : Stationary or None
        None where the surface has no single one.
    region : Region or None
        Of the stationary point; None without an error.
    best : Best
        Of the settings between the lowest and the highest level of each factor.
    table : DataFrame
        One row a factor: stationary setting, the limits of its region within the levels of the brief, whether that
        reaches a limit, the best setting and whether that is a limit; in the unit of the factor.
    axes : DataFrame
        One row an axis of the surface, in coded units: eigenvalue, its standard error, whether it is told from nought,
        and the direction in words.
    """

    fit: Fit
    surface: SecondOrder
    stationary: Stationary | None
    region: Region | None
    best: Best
    table: pd.DataFrame
    axes: pd.DataFrame

    @property
    def sentences(self) -> tuple[str, ...]:
        """The nature of the surface, where it is level and how sure that is, lack of fit, and the best setting."""
        return (*self._level(), *self._fits(), self._best())

    def to_json(self) -> dict[str, Any]:
        """settings[], axes[], nature, predicted, lack_of_fit, best and sentences[]; responses in their own unit."""
        lack = self.surface.lack_of_fit
        best = self.best
        return stamp.plain(
            {
                "settings": stamp.records(self.table),
                "axes": stamp.records(self.axes),
                "nature": self.stationary.nature if self.stationary else None,
                "predicted": self._told(self.stationary.predicted) if self.stationary else None,
                "residual_df": self.surface.df,
                "lack_of_fit": None if lack is None else {**vars(lack)},
                "best": {
                    "predicted": self._told(best.predicted),
                    "mean_low": self._told(best.mean_low),
                    "mean_high": self._told(best.mean_high),
                    "run_low": self._told(best.run_low),
                    "run_high": self._told(best.run_high),
                    "conf_level": self.fit.brief.conf_level,
                },
                "sentences": list(self.sentences),
            }
        )

    def _told(self, value: float | None) -> float | None:
        """A value of the analysis scale in the response's own unit."""
        if value is None:
            return None
        return float(np.exp(value)) if self.fit.response.scale == "log" else float(value)

    def _quantity(self) -> str:
        """What is told of the response: its median on the log scale, its mean elsewhere."""
        word = "median" if self.fit.response.scale == "log" else "mean"
        return f"{word} {measured_in.label(self.fit.response.name)}"

    def _level(self) -> list[str]:
        """The stationary point and its nature."""
        found = self.stationary
        if found is None:
            return ["The surface is level at no single setting: along some direction it has no curvature at all."]
        what = {
            MAXIMUM: "is highest and falls in every direction",
            MINIMUM: "is lowest and rises in every direction",
        }.get(found.nature, "is level, rising in some directions and falling in others")
        at = _setting(self.table, "stationary")
        lines = [f"The {self._quantity()} {what} at {at} ({found.nature}, {self._number(found.predicted)})."]
        flat = self.axes.loc[~self.axes["told_from_nought"], "direction"].tolist()
        if flat and len(flat) == len(self.axes):
            lines.append("No curvature is told from nought by these runs, so neither is that point nor its nature.")
        elif flat:
            lines.append(f"Along {' and '.join(flat)} its curvature is not told from nought: it may be a ridge.")
        steps = base.steps(self.fit.brief)
        outside = [
            name
            for name, value in zip(self.fit.brief.factor_names, found.point, strict=True)
            if abs(value) > max(steps[name].values()) + 1e-9
        ]
        if outside:
            lines.append(f"That point lies outside the levels of {' and '.join(outside)}: nothing was run there.")
        region = self.region
        if region is not None:
            level = f"{100 * region.conf_level:g} %"
            if region.low is None:
                lines.append(f"No setting within the levels of the brief is in its {level} region.")
            else:
                spans = ", ".join(
                    f"{row['factor']} {row['region_low']:.4g} to {row['region_high']:.4g} {row['measured_in']}".rstrip()
                    for row in self.table.to_dict("records")
                )
                edge = [self.fit.brief.factor_names[at] for at in region.at_edge]
                more = f" (for {' and '.join(edge)} it reaches the limits of the brief)" if edge else ""
                lines.append(f"Its {level} region takes in {spans}{more}.")
        return lines

    def _fits(self) -> list[str]:
        """Lack of fit."""
        lack = self.surface.lack_of_fit
        if lack is None:
            return ["Nothing was repeated at one setting, so it cannot be told whether the surface fits."]
        if lack.p is None:
            return []
        told = f"F {lack.f:.2f} on {lack.df} and {lack.pure_df} df, p {lack.p:.2g}"
        if lack.p < self.fit.brief.alpha:
            return [f"The surface does not fit: it misses the runs by more than repeats differ ({told})."]
        return [f"No lack of fit is shown ({told})."]

    def _best(self) -> str:
        """The best setting."""
        at = _setting(self.table, "best")
        edge = [self.fit.brief.factor_names[place] for place in self.best.at_limit]
        limit = f"; {' and '.join(edge)} at a limit of the brief" if edge else ""
        told = f"{self._quantity()} {self._number(self.best.predicted)}"
        line = f"Best within the levels of the brief: {at}{limit}; {told}"
        if self.best.run_low is None:
            return f"{line}, without an interval."
        level = f"{100 * self.fit.brief.conf_level:g} %"
        return (
            f"{line} ({level} interval {self._number(self.best.mean_low)} to {self._number(self.best.mean_high)}); one "
            f"run there would give {self._number(self.best.run_low)} to {self._number(self.best.run_high)}. The "
            f"intervals do not allow for the setting having been picked by the same runs."
        )

    def _number(self, value: float | None) -> str:
        """A value in the response's own unit, as text."""
        return f"{self._told(value):.3g} {self.fit.response.measured_in}".rstrip()

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join(self.sentences)


def surface(fit: Fit) -> Surface | None:
    """What the response surface of a central composite or Box-Behnken plan says; None for other designs.

    Two levels to which an extension added axial points are a central composite too; an optimal design of the quadratic
    model has a surface where every factor is a number, nothing is forbidden and no factor is kept over several runs.

    Parameters
    ----------
    fit : Fit

    Returns
    -------
    Surface or None
        None too where a term of the full second-order model was declared nil.

    Raises
    ------
    ModelError
        When the runs that are left cannot tell every coefficient.

    Notes
    -----
    Least squares in coded units with builds as fixed blocks; ``numeric.second_order`` and
    ``numeric.surface_settings`` do the rest. The settings of the region are
    drawn with the seed of the brief where there are more than three factors.

    Checked against: k06-nist-cvd-ccd and k06-bhh-ccd-yield, tests/reference/test_surface_cases.py.
    """
    brief, laid = fit.brief, fit.strata
    count = len(brief.factors)
    quadratic = brief.plan.design in SECOND_ORDER or base.with_axial_points(brief)
    # What may not be run could be the best setting, so that a restricted region has none.
    free = not optimal.restricted(brief) and not optimal.plots_of(brief)
    quadratic |= optimal.used(brief) and len(optimal.sloped(brief)) == count and free
    if not quadratic or len(laid.terms) < count + count * (count - 1) // 2:
        return None
    steps = base.steps(brief)
    points = np.column_stack([[steps[name][level] for level in laid.runs[name]] for name in brief.factor_names])
    blocks = laid.runs["build_id"].astype(str).to_numpy() if laid.blocked else None
    found = numeric.fit(points, fit.y, blocks=blocks)
    point = numeric.stationary(found)
    low = np.array([min(steps[name].values()) for name in brief.factor_names])
    high = np.array([max(steps[name].values()) for name in brief.factor_names])
    region = None
    if point is not None and found.df:
        region = surface_settings.region(found, low, high, seed=brief.seed, conf_level=brief.conf_level)
    best = surface_settings.best(found, low, high, larger=fit.response.better == "larger", conf_level=brief.conf_level)
    return Surface(fit, found, point, region, best, _table(fit, point, region, best), _axes(fit, found, point))


def _table(fit: Fit, point: Stationary | None, region: Region | None, best: Best) -> pd.DataFrame:
    """One row a factor."""
    rows = []
    for at, factor in enumerate(fit.brief.factors):
        reach = region is not None and region.low is not None
        rows.append(
            {
                "factor": factor.name,
                "measured_in": factor.measured_in,
                "stationary": None if point is None else _natural(fit, at, point.point[at]),
                "region_low": _natural(fit, at, region.low[at]) if reach else None,
                "region_high": _natural(fit, at, region.high[at]) if reach else None,
                "region_at_limit": None if region is None else at in region.at_edge,
                "best": _natural(fit, at, best.point[at]),
                "best_at_limit": at in best.at_limit,
            }
        )
    return pd.DataFrame(rows, columns=list(SETTINGS), dtype=object)


def _axes(fit: Fit, found: SecondOrder, point: Stationary | None) -> pd.DataFrame:
    """One row an axis of the surface."""
    if point is None:
        return pd.DataFrame(columns=list(AXES), dtype=object)
    quantile = float(special.stdtrit(found.df, 0.5 + 0.5 * fit.brief.conf_level)) if found.df else np.inf
    rows = []
    for at, value in enumerate(point.eigenvalues):
        error = None if point.eigenvalue_errors is None else float(point.eigenvalue_errors[at])
        told = error is not None and abs(value) > quantile * error
        rows.append((at + 1, float(value), error, told, _direction(fit, point.axes[:, at])))
    return pd.DataFrame(rows, columns=list(AXES)).astype({"told_from_nought": bool})


def _direction(fit: Fit, axis: np.ndarray) -> str:
    """A direction by the factors that make most of it: 'speed_rpm' or 'speed_rpm with load_N falling'."""
    order = np.argsort(-np.abs(axis), kind="stable")
    sign = np.sign(axis[order[0]])
    names = fit.brief.factor_names
    parts = [names[order[0]]]
    parts += [
        f"{names[at]} {'rising' if axis[at] * sign > 0 else 'falling'}" for at in order[1:] if abs(axis[at]) > _NAMED
    ]
    return parts[0] if len(parts) == 1 else f"{parts[0]} rising with {' and '.join(parts[1:])}"


def _natural(fit: Fit, at: int, coded: float) -> float:
    """A coded setting in the unit of its factor."""
    factor = fit.brief.factors[at]
    if base.with_axial_points(fit.brief):
        middle, half = axial_points.of_factor(factor)
        return middle + half * float(coded)
    if optimal.used(fit.brief):
        middle, half = optimal.centre_and_reach(factor)
        return middle + half * float(coded)
    values = [float(level.value) for level in factor.levels]
    low, high = (values[1], values[-2]) if len(values) == 5 else (values[0], values[-1])
    return values[len(values) // 2] + 0.5 * (high - low) * float(coded)


def _setting(table: pd.DataFrame, column: str) -> str:
    """A setting of all factors as text."""
    return ", ".join(
        f"{row['factor']} {row[column]:.4g} {row['measured_in']}".rstrip() for row in table.to_dict("records")
    )

