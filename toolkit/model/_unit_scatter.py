"""The scatter between builds, parts and fills: by mean squares where they are alike, by the likelihood elsewhere."""

from __future__ import annotations

import numpy as np

from toolkit.design import units
from toolkit.model import _component_lines as lines
from toolkit.model import mixed
from toolkit.model.fit import Fit
from toolkit.numeric import contrasts


def of_units(made: Fit) -> list[dict[str, object]]:
    """The scatter between units of several runs, the coarsest first, where there are several and they are alike."""
    blocks = [_blocks(made)] if made.strata.blocked and made.strata.runs["build_id"].nunique() > 1 else []
    if made.mixed is not None:
        blocks = [] if "build" in made.mixed.units else blocks
        return [*blocks, *_by_likelihood(made)]
    rows = []
    for unit, finer in zip(made.strata.units, made.strata.units[1:], strict=False):
        name = units.PLURALS[unit]
        note = f"between {name} of the same level, less the share of the {units.PLURALS[finer]}"
        rows.append(_above(made, unit, finer, made.mean_squares[unit], note))
    return [*blocks, *rows]


def _above(
    made: Fit, unit: str, finer: str, upper: tuple[float | None, int], note: str
) -> dict[str, object]:
    """The scatter of one kind of unit from its mean square and that of the next finer kind."""
    within = made.mean_squares[finer]
    if upper[0] is None or upper[1] < 1 or not within[0]:
        return lines.row(made, unit, unit, note=f"{note}: no degrees of freedom to tell it")
    each = made.strata.expected(unit)[unit]
    return lines.between(made, unit, unit, (upper[0], upper[1]), (within[0], within[1]), each, note)


def _blocks(made: Fit) -> dict[str, object]:
    """The scatter between builds that are blocks."""
    laid = made.strata
    note = (
        f"between builds, less the share of the {units.PLURALS[laid.units[0]]}; builds are blocks, so it touches no "
        f"comparison"
    )
    held = [
        sorted(map(tuple, part[list(laid.brief.factor_names)].to_numpy())) for _, part in laid.runs.groupby("build_id")
    ]
    if any(one != held[0] for one in held) or not made.strata.balanced:
        return lines.row(made, "build", "build", note="not told: the builds do not hold the same combinations")
    layer = made.layers[0]
    ones, builds, beside = np.split(layer.base, [1, 1 + laid.build_columns.shape[1]], axis=1)
    base = np.hstack([ones, beside, *(layer.columns[term] for term in layer.terms)])
    total, df = contrasts.projection_ss(layer.y, base, builds)
    return _above(made, "build", laid.units[0], (total / df if df else None, df), note)


def _by_likelihood(made: Fit) -> list[dict[str, object]]:
    """The scatter of each kind of unit where the strata are not balanced."""
    if made.mixed is None:
        return []
    found = mixed.scatter(made.mixed, made.brief.conf_level)
    rows = []
    for at, unit in enumerate(made.mixed.units[:-1]):
        note = f"between {units.PLURALS[unit]} of the same level, by {found.how[at]}"
        numbers = {"sd": found.sd[at], "low": found.sd_low[at], "high": found.sd_high[at]}
        rows.append(lines.row(made, unit, unit, **numbers, variance=found.variances[at], note=note))
    return rows
