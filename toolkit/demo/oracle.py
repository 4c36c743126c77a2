"""What the INVENTED timing-chain campaign ought to show, by simulation and closed forms of its own (rank 10).

Nothing here uses the toolkit's model, so that the one can be checked against the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief, Comparison, gain_sign, worthwhile
from toolkit.demo import generator, scenarios, tables
from toolkit.design import factorial, orders
from toolkit.errors import BriefError

# The seed of the bundled chain-soot data, chosen from 1 to 1000 to teach; data/README.md says how, and
# `spread` shows what the others would have given.
TEACHING_SEED = 650
_LESSON = ("coating", "new oil", "coating needs the new oil")
VERDICTS = (
    "worthwhile gain",
    "gain, size not settled",
    "smaller than worthwhile",
    "not known yet",
    "loss, size not settled",
    "worthwhile loss",
)


@dataclass(frozen=True, eq=False)
class Estimates:
    """Contrasts of many campaigns: arrays of shape (campaigns, contrasts), one df for all."""

    estimate: np.ndarray
    std_error: np.ndarray
    df: int
    p_value: np.ndarray

    def limits(self, conf_level: float) -> tuple[np.ndarray, np.ndarray]:
        """Lower and upper confidence limits."""
        from scipy import stats

        half = stats.t.ppf(0.5 + conf_level / 2.0, self.df) * self.std_error
        return self.estimate - half, self.estimate + half


@dataclass(frozen=True, eq=False)
class Spread:
    """The bundled campaign over many seeds of its data.

    Attributes
    ----------
    table : DataFrame
        One row a comparison: share of seeds where a difference is shown, quantiles of the change, and the
        shares of the six verdicts, all in per cent.
    by_seed : DataFrame
        One row a seed and comparison: seed, comparison, change_pct, p_value, verdict, and the SD that the
        pilot of this seed shows (the same in all rows of a seed).
    story_pct : float
        Per cent of seeds with coating p < 0.01, new oil 0.02 to 0.15, interaction > 0.1.
    """

    table: pd.DataFrame
    by_seed: pd.DataFrame
    story_pct: float

    def __repr__(self) -> str:
        """The table."""
        return self.table.to_string(index=False)


def balanced(values: np.ndarray, contrasts: np.ndarray) -> Estimates:
    """Contrasts of complete blocks in closed form.

    Parameters
    ----------
    values : ndarray, shape (campaigns, blocks, combinations)
        Run values on the analysis scale.
    contrasts : ndarray, shape (contrasts, combinations)
        Weights that add to nought.

    Notes
    -----
    Estimate = sum of weight times mean over blocks; error mean square = what is left of the sum of squares
    after blocks and combinations, on (blocks - 1)(combinations - 1) df; variance of a contrast = that times
    the sum of squared weights over the number of blocks. (Textbook randomised complete blocks.)
    """
    _, blocks, cells = values.shape
    means = values.mean(axis=1)
    left = values - means[:, None, :] - values.mean(axis=2)[:, :, None] + values.mean(axis=(1, 2))[:, None, None]
    df = (blocks - 1) * (cells - 1)
    error = (left**2).sum(axis=(1, 2)) / df
    return _judged(means @ contrasts.T, np.sqrt(error[:, None] * (contrasts**2).sum(axis=1) / blocks), df)


def as_replicates(values: np.ndarray, contrasts: np.ndarray) -> Estimates:
    """The blunder, to be shown: sub-samples taken as if each were a run of its own.

    Parameters
    ----------
    values : ndarray, shape (campaigns, blocks, combinations, stations)
        Station values on the analysis scale.
    contrasts : ndarray, shape (contrasts, combinations)
    """
    _, blocks, cells, stations = values.shape
    means = values.mean(axis=(1, 3))
    fitted = (
        means[:, None, :, None]
        + values.mean(axis=(2, 3))[:, :, None, None]
        - values.mean(axis=(1, 2, 3))[:, None, None, None]
    )
    df = blocks * cells * stations - blocks - cells + 1
    error = ((values - fitted) ** 2).sum(axis=(1, 2, 3)) / df
    return _judged(means @ contrasts.T, np.sqrt(error[:, None] * (contrasts**2).sum(axis=1) / (blocks * stations)), df)


def least_squares(values: np.ndarray, cells: np.ndarray, blocks: np.ndarray, contrasts: np.ndarray) -> Estimates:
    """Contrasts where runs are missing, by ordinary least squares on combinations and blocks.

    Parameters
    ----------
    values : ndarray, shape (campaigns, runs)
    cells, blocks : ndarray of int, shape (runs,)
        Combination and block of each run; every combination has a run.
    contrasts : ndarray, shape (contrasts, combinations)
    """
    inside = (blocks[:, None] == np.unique(blocks)[1:]).astype(float)
    design = np.hstack([(cells[:, None] == np.arange(contrasts.shape[1])).astype(float), inside - inside.mean(axis=0)])
    inverse = np.linalg.inv(design.T @ design)
    beta = values @ design @ inverse
    df = len(cells) - design.shape[1]
    error = ((values - beta @ design.T) ** 2).sum(axis=1) / df
    wide = np.hstack([contrasts, np.zeros((len(contrasts), inside.shape[1]))])
    unit = np.einsum("ij,jk,ik->i", wide, inverse, wide)
    return _judged(beta @ wide.T, np.sqrt(error[:, None] * unit), df)


def pilot_sd(values: np.ndarray, cells: np.ndarray) -> np.ndarray:
    """Scatter that repeated combinations of one build show, shape (campaigns,).

    Parameters
    ----------
    values : ndarray, shape (campaigns, runs)
        Run values on the analysis scale.
    cells : ndarray, shape (runs,)
        Combination of each run.
    """
    names = np.unique(cells)
    square = sum(
        ((values[:, cells == cell] - values[:, cells == cell].mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
        for cell in names
    )
    return np.sqrt(square / (len(cells) - len(names)))


def weights(brief: Brief, comparison: Comparison) -> np.ndarray:
    """The weight a comparison puts on each combination's mean, in the order of ``brief.combinations``."""

    def share(levels: Mapping[str, str]) -> np.ndarray:
        named = [dict(zip(brief.factor_names, chosen, strict=True)) for chosen in brief.combinations]
        met = np.array([all(line[name] == level for name, level in levels.items()) for line in named], dtype=float)
        return met / met.sum()

    if not comparison.interaction:
        return share(comparison.of) - share(comparison.against)
    total = np.zeros(len(brief.combinations))
    ends = [(brief.factor(name).names[0], brief.factor(name).names[-1]) for name in comparison.interaction]
    for chosen in range(2 ** len(ends)):
        picks = [chosen >> place & 1 for place in range(len(ends))]
        levels = {name: pair[pick] for name, pair, pick in zip(comparison.interaction, ends, picks, strict=True)}
        total += (-1.0) ** (len(ends) - sum(picks)) * share(levels)
    return total


def cells_of(brief: Brief, runs: pd.DataFrame) -> np.ndarray:
    """The number of each run's combination in ``brief.combinations``."""
    place = {chosen: number for number, chosen in enumerate(brief.combinations)}
    return np.array([place[tuple(row)] for row in runs[list(brief.factor_names)].to_numpy()])


def verdict(low: float, high: float, edge: float) -> str:
    """The name of a verdict from the limits of a gain and the band's edge, all on the analysis scale."""
    if low > edge:
        return VERDICTS[0]
    if high < -edge:
        return VERDICTS[5]
    if -edge < low and high < edge:
        return VERDICTS[2]
    if low > 0:
        return VERDICTS[1]
    return VERDICTS[4] if high < 0 else VERDICTS[3]


def layout(brief: Brief, *, pilot: bool = True) -> generator.Layout:
    """The planned runs of the brief in the order its seed gives, with or without the pilot."""
    phases = [factorial.pilot(brief)] if pilot and brief.pilot else []
    return generator.layout_of(
        brief, [orders.randomise(design, seed=brief.seed) for design in [*phases, factorial.full(brief)]]
    )


def spread(brief: Brief, *, seeds: int = 1000) -> Spread:
    """The bundled campaign again with the data seeds 1 to ``seeds``: what the seed alone does to the answers.

    Each seed gives exactly the run values of the tables that ``demo.tables.campaign`` would draw, the
    analysis is ordinary least squares on the valid runs of the main phase with builds as blocks.

    Parameters
    ----------
    brief : Brief
        Of the bundled campaign chain-soot.
    seeds : int

    Raises
    ------
    BriefError
        When the brief is another one.
    """
    _must_be_chain_soot(brief)
    scenario = scenarios.of(brief.id)
    truth = scenario.truths[0]
    response = brief.response(truth.response)
    planned = layout(brief)
    found = [scenario.incident_of(run) for run in planned.runs["run_id"]]
    used = np.array(
        [
            phase == "main" and not (item and item.verdict != "valid")
            for phase, item in zip(planned.runs["phase"], found, strict=True)
        ]
    )
    every = np.log([tables.run_values(brief, planned, scenario, seed=seed) for seed in range(1, seeds + 1)])
    values = every[:, used]
    tried = (planned.runs["phase"] == "pilot").to_numpy()
    shown = pilot_sd(every[:, tried], cells_of(brief, planned.runs[tried]))
    contrasts = np.array([weights(brief, item) for item in brief.comparisons])
    made = least_squares(values, cells_of(brief, planned.runs[used]), planned.build[used], contrasts)
    low, high = made.limits(brief.conf_level)
    sign = gain_sign(response)
    frames = []
    for place, comparison in enumerate(brief.comparisons):
        gains = np.sort(sign * np.column_stack([low[:, place], high[:, place]]), axis=1)
        edge = worthwhile(brief, comparison, response)
        frames.append(
            pd.DataFrame(
                {
                    "seed": np.arange(1, seeds + 1),
                    "comparison": comparison.name,
                    "change_pct": 100.0 * np.expm1(made.estimate[:, place]),
                    "p_value": made.p_value[:, place],
                    "verdict": [verdict(lo, hi, edge) for lo, hi in gains],
                    "pilot_sd": shown,
                }
            )
        )
    by_seed = pd.concat(frames, ignore_index=True)
    return Spread(_summary(brief, by_seed), by_seed, 100.0 * float(np.mean(story(by_seed))))


def story(by_seed: pd.DataFrame) -> np.ndarray:
    """True for each seed that tells the lesson: pin clear, oil borderline, interaction out of reach."""
    p = by_seed.pivot(index="seed", columns="comparison", values="p_value")
    pin, oil, both = (p[name] for name in _LESSON)
    return ((pin < 0.01) & (oil > 0.02) & (oil < 0.15) & (both > 0.10)).to_numpy()


def _judged(estimate: np.ndarray, std_error: np.ndarray, df: int) -> Estimates:
    """Estimates with their two-sided p-values."""
    from scipy import stats

    return Estimates(estimate, std_error, df, 2.0 * stats.t.sf(np.abs(estimate) / std_error, df))


def _must_be_chain_soot(brief: Brief) -> None:
    """Raise unless factors, stations, blocks and comparisons are those the scenario is made for."""
    levels = {factor.name: factor.names for factor in brief.factors}
    kinds = {item.name: item.stations for item in brief.responses}
    stations = kinds.get(scenarios.CHAIN.truths[0].response)
    if not (
        brief.id == scenarios.CHAIN.id
        and levels == {"pin": ("P0", "P1"), "oil": ("O0", "O1")}
        and stations is not None
        and (stations.count, len(stations.states)) == (len(scenarios.CHAIN.truths[0].station_shift), 2)
        and brief.block_by == "build"
        and {item.name for item in brief.comparisons} >= set(_LESSON)
    ):
        raise BriefError(
            f"the spread over seeds is drawn for the bundled campaign {scenarios.CHAIN.id} as it comes; the brief "
            f"'{brief.id}' differs from it. Read the one in data/{scenarios.CHAIN.id}/campaign.toml."
        )


def _summary(brief: Brief, by_seed: pd.DataFrame) -> pd.DataFrame:
    """Shares over the seeds, one row a comparison."""
    rows = []
    for name, part in by_seed.groupby("comparison", sort=False):
        row: dict[str, object] = {
            "comparison": name,
            "seeds": len(part),
            "shown_pct": 100.0 * float((part["p_value"] < brief.alpha).mean()),
        }
        row |= {
            f"change_pct_{word}": float(part["change_pct"].quantile(at))
            for word, at in (("low_5", 0.05), ("median", 0.5), ("high_95", 0.95))
        }
        row |= {
            f"{word.replace(',', '').replace(' ', '_')}_pct": 100.0 * float((part["verdict"] == word).mean())
            for word in VERDICTS
        }
        rows.append(row)
    return pd.DataFrame(rows)
