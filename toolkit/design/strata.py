"""The strata of a design: which unit each term is judged against. Sizing and analysis both read them here.

Rank 3. A factor's unit follows from what must be undone to change it and from what is new in every run. Three
layouts are covered: completely randomised runs, complete blocks (builds, fixed), and whole plots (a factor whose
unit is the build; balanced). Stations and readings are sub-samples: they stand in the table and are never an error.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from toolkit.brief.model import CENTRE, Brief, Factor
from toolkit.design import terms as model_terms
from toolkit.design.terms import CURVATURE, Term
from toolkit.errors import DesignError
from toolkit.numeric import contrasts

RANDOMISED = "completely randomised"
BLOCKS = "complete blocks"
WHOLE_PLOTS = "whole plots"


@dataclass(frozen=True)
class Stratum:
    """One layer of units.

    Attributes
    ----------
    name : str
        build or run; station and reading for sub-samples.
    units : int
        How many units of this kind there are.
    terms : tuple of Term
        The terms judged in this stratum.
    term_df : int
        Their degrees of freedom, by rank.
    error_df : int or None
        Degrees of freedom of the error; None where the layer is never an error.
    role : str
        What the layer is for, in words.
    """

    name: str
    units: int
    terms: tuple[Term, ...]
    term_df: int
    error_df: int | None
    role: str


@dataclass(frozen=True)
class ErrorPart:
    """The share of one stratum in the variance of a contrast: unit_variance times that stratum's mean square."""

    stratum: str
    unit_variance: float
    error_df: int


@dataclass(frozen=True, eq=False)
class Strata:
    """Strata of a run table, as planned or as run.

    Attributes
    ----------
    brief : Brief
    runs : DataFrame
        The run table they were made from (run order of the rows kept).
    layout : str
        completely randomised, complete blocks or whole plots.
    terms : tuple of Term
    columns : ndarray, shape (runs, parameters)
        The mean and the terms.
    spans : dict
        Term to slice of ``columns``.
    block_columns : ndarray, shape (runs, blocks - 1 + covariates)
        What is taken out before any term: fixed builds (none where builds are units or there is one), then
        covariates less their reference value.
    strata : tuple of Stratum
        The coarsest first.
    covariates : mapping of str to float
        Covariate to its reference value, in the order of their columns.
    not_covered : str
        Why the records as run cannot be analysed with exact mean squares; empty when they can.
    """

    brief: Brief
    runs: pd.DataFrame
    layout: str
    terms: tuple[Term, ...]
    columns: np.ndarray
    spans: dict[Term, slice]
    block_columns: np.ndarray
    strata: tuple[Stratum, ...]
    not_covered: str = ""
    covariates: Mapping[str, float] = field(default_factory=dict)

    @property
    def full_columns(self) -> np.ndarray:
        """Terms, then fixed blocks and covariates, shape (runs, parameters + blocks - 1 + covariates)."""
        return np.hstack([self.columns, self.block_columns])

    @property
    def blocked(self) -> bool:
        """True when builds are fixed blocks."""
        return self.layout == BLOCKS

    def stratum(self, name: str) -> Stratum:
        """The stratum called ``name``."""
        return next(item for item in self.strata if item.name == name)

    def of_term(self, term: Term) -> str:
        """The name of the stratum a term is judged in."""
        return next(item.name for item in self.strata if term in item.terms)

    def build_level(self, term: Term) -> bool:
        """True when every factor of the term has the build as its unit."""
        return self.layout == WHOLE_PLOTS and _of_builds(self.brief, term)

    def estimable(self, row: np.ndarray) -> bool:
        """True when the runs can answer the contrast ``row`` (shape (parameters,)) at all."""
        full = np.concatenate([row, np.zeros(self.block_columns.shape[1])])
        return bool(contrasts.estimable(full[None, :], self.full_columns)[0])

    def parts(self, row: np.ndarray) -> tuple[ErrorPart, ...]:
        """The variance of a contrast as shares of the strata's mean squares (per run value).

        Parameters
        ----------
        row : ndarray, shape (parameters,)

        Returns
        -------
        tuple of ErrorPart
            One part in one stratum as a rule; two where a contrast mixes a build-level with a run-level change.
            Empty when the contrast is not estimable.

        Notes
        -----
        Balanced strata are orthogonal, so the build-level and the run-level columns are treated apart and the
        variances add (textbook split-plot algebra).
        """
        if not self.estimable(row):
            return ()
        if self.layout != WHOLE_PLOTS:
            full = np.concatenate([row, np.zeros(self.block_columns.shape[1])])
            return (self._part("run", full, self.full_columns),)
        upper = self._at_build()
        made = []
        for name, chosen in (("build", upper), ("run", ~upper)):
            if np.any(np.abs(row[chosen]) > 1e-12):
                made.append(self._part(name, row[chosen], self.columns[:, chosen]))
        return tuple(made)

    def _part(self, name: str, row: np.ndarray, columns: np.ndarray) -> ErrorPart:
        """One stratum's share for a contrast of its own columns."""
        inverse = np.linalg.pinv(columns.T @ columns, rcond=1e-10, hermitian=True)
        return ErrorPart(name, float(row @ inverse @ row), int(self.stratum(name).error_df or 0))

    def _at_build(self) -> np.ndarray:
        """Which columns belong to the build stratum (the mean does too): shape (parameters,)."""
        chosen = np.zeros(self.columns.shape[1], dtype=bool)
        for term, span in self.spans.items():
            chosen[span] = term == () or self.build_level(term)
        return chosen

    @property
    def table(self) -> pd.DataFrame:
        """One row a stratum: name, units, what it is for, its terms, their df and its error df."""
        return pd.DataFrame(
            [
                {
                    "stratum": item.name,
                    "units": item.units,
                    "role": item.role,
                    "terms": ", ".join(model_terms.name_of(term) for term in item.terms),
                    "term_df": item.term_df,
                    "error_df": item.error_df,
                }
                for item in self.strata
            ]
        )


def unit_of(brief: Brief, factor: Factor) -> str:
    """The unit a factor is assigned to: build when changing it means a new build, else the run.

    Raises
    ------
    DesignError
        When a part or fill is kept over several runs: such strata are not covered.
    """
    if factor.undo in brief.new_each_run or factor.undo == "setting":
        return "run"
    if factor.undo == "build":
        return "build"
    raise DesignError(
        f"factor '{factor.name}': its {factor.undo} is not new in every run, so one {factor.undo} would serve "
        f'several runs and be the unit; such strata are not covered yet. Put "{factor.undo}" into new_each_run '
        f'(a new {factor.undo} for every run), or undo = "build" if it is changed with the build.'
    )


def layout_of(brief: Brief) -> str:
    """The layout the brief leads to: completely randomised, complete blocks or whole plots."""
    units = {unit_of(brief, factor) for factor in brief.factors}
    if "build" in units:
        return WHOLE_PLOTS
    return BLOCKS if brief.block_by == "build" else RANDOMISED


def of_runs(brief: Brief, runs: pd.DataFrame, *, covariates: Mapping[str, float] | None = None) -> Strata:
    """The strata of a table of runs, planned or as run.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        Columns run_id, build_id and one per factor with level names; one row a run. Rows that are not to be
        analysed must be left out beforehand.
    covariates : mapping of str to float, optional
        Columns of numbers to take out before any term, each less its reference value: means and comparisons are
        then told at that value.

    Raises
    ------
    DesignError
        When a build-level factor changes within a build, a stratum is not covered, or covariates meet whole plots.
    """
    runs = runs.reset_index(drop=True)
    taken_out = dict(covariates or {})
    layout = layout_of(brief)
    centre = any((runs[name] == CENTRE).any() for name in brief.factor_names)
    terms = model_terms.of_brief(brief, curvature=centre)
    columns, spans = model_terms.columns(brief, runs, terms)
    builds = runs["build_id"].astype(str)
    none = np.zeros((len(runs), 0))
    sub_samples = _sub_samples(brief, len(runs))
    if layout == WHOLE_PLOTS:
        if taken_out:
            raise DesignError(
                "covariates are not covered where builds are the units of a factor: a covariate has one slope between "
                "builds and another within them."
            )
        lower, upper, reason = _whole_plot_strata(brief, runs, builds, terms, columns, spans)
        return Strata(brief, runs, layout, terms, columns, spans, none, (upper, lower, *sub_samples), reason)
    block_columns = _block_columns(builds) if layout == BLOCKS else none
    if taken_out:
        beside = [runs[name].to_numpy(dtype=float) - at for name, at in taken_out.items()]
        block_columns = np.hstack([block_columns, np.column_stack(beside)])
    full = np.hstack([columns, block_columns])
    rank = contrasts.rank(full)
    blocks = contrasts.rank(np.hstack([np.ones((len(runs), 1)), block_columns]))
    run = Stratum("run", len(runs), terms, rank - blocks, len(runs) - rank, "experimental unit and error")
    strata: tuple[Stratum, ...] = (run, *sub_samples)
    if layout == BLOCKS:
        strata = (
            Stratum("build", int(builds.nunique()), (), 0, None, "block: compared within, never an error"),
            *strata,
        )
    return Strata(brief, runs, layout, terms, columns, spans, block_columns, strata, covariates=taken_out)


def again(laid: Strata, runs: pd.DataFrame) -> Strata:
    """The strata of other runs, laid out as ``laid`` is: the same brief, the same covariates at the same values.

    Parameters
    ----------
    laid : Strata
    runs : DataFrame
        As for ``of_runs``. A run without a covariate's figure, because it is not made yet, stands at its reference
        value.

    Raises
    ------
    DesignError
        As ``of_runs``.
    """
    filled = {
        name: (runs[name] if name in runs else pd.Series(at, index=runs.index)).astype(float).fillna(at)
        for name, at in laid.covariates.items()
    }
    return of_runs(laid.brief, runs.assign(**filled), covariates=laid.covariates)


def _of_builds(brief: Brief, term: Term) -> bool:
    """True when every factor of the term has the build as its unit."""
    return term != CURVATURE and all(unit_of(brief, brief.factor(name)) == "build" for name in term)


def _block_columns(builds: pd.Series) -> np.ndarray:
    """Sum-coded columns of the builds, shape (runs, builds - 1)."""
    names = list(dict.fromkeys(builds))
    coding = np.vstack([np.eye(len(names) - 1), -np.ones((1, len(names) - 1))])
    return coding[[names.index(name) for name in builds]].reshape(len(builds), len(names) - 1)


def _sub_samples(brief: Brief, runs: int) -> Sequence[Stratum]:
    """The station and reading layers of the first response that has them: sharpen a run value, never an error."""
    for response in brief.responses:
        if response.stations is not None:
            stations = runs * response.stations.count
            lines = [Stratum("station", stations, (), 0, None, f"sub-sample ({response.stations.kind})")]
            if response.stations.readings > 1:
                lines.append(Stratum("reading", stations * response.stations.readings, (), 0, None, "sub-sample"))
            return lines
    return ()


def _whole_plot_strata(
    brief: Brief,
    runs: pd.DataFrame,
    builds: pd.Series,
    terms: Sequence[Term],
    columns: np.ndarray,
    spans: dict[Term, slice],
) -> tuple[Stratum, Stratum, str]:
    """The run and the build stratum where builds are the units of some factors, and why not if unbalanced."""
    upper_names = [f.name for f in brief.factors if unit_of(brief, f) == "build"]
    lower_names = [name for name in brief.factor_names if name not in upper_names]
    for build, part in runs.groupby(builds):
        for name in upper_names:
            if part[name].nunique() > 1:
                raise DesignError(
                    f"build '{build}': factor '{name}' changes within the build ({' and '.join(part[name].unique())})"
                    f" though changing it means a new build. Give the runs after the change a build_id of their own."
                )
    upper_terms = tuple(term for term in terms if _of_builds(brief, term))
    lower_terms = tuple(term for term in terms if term not in upper_terms)
    at_build = np.zeros(columns.shape[1], dtype=bool)
    for term, span in spans.items():
        at_build[span] = term == () or term in upper_terms
    count = int(builds.nunique())
    upper_rank = contrasts.rank(columns[:, at_build])
    within = columns[:, ~at_build] - pd.DataFrame(columns[:, ~at_build]).groupby(list(builds)).transform("mean")
    lower_rank = contrasts.rank(within.to_numpy()) if (~at_build).any() else 0
    upper = Stratum("build", count, upper_terms, upper_rank - 1, count - upper_rank, "unit of the build-level factors")
    lower = Stratum(
        "run", len(runs), lower_terms, lower_rank, len(runs) - count - lower_rank, "experimental unit and error"
    )
    return lower, upper, _unbalanced(runs, builds, lower_names)


def _unbalanced(runs: pd.DataFrame, builds: pd.Series, lower_names: Sequence[str]) -> str:
    """Why the builds are not balanced, or an empty text when each holds the same combinations equally often."""
    keys = runs[list(lower_names)].astype(str).agg(" ".join, axis=1) if lower_names else pd.Series("", runs.index)
    content = {build: tuple(sorted(keys[builds == build])) for build in dict.fromkeys(builds)}
    usual = max(content.values(), key=lambda held: (list(content.values()).count(held), len(held)))
    odd = [build for build, held in content.items() if held != usual]
    if not odd:
        return ""
    return (
        f"builds are units here and must hold the same combinations equally often for exact tests; "
        f"{'build' if len(odd) == 1 else 'builds'} {', '.join(map(str, odd))} "
        f"{'does' if len(odd) == 1 else 'do'} not. Unbalanced whole plots are not covered yet: repeat the missing "
        f"runs in the same build, or analyse only the balanced builds."
    )
