"""The strata of a design: which unit each term is judged against. Sizing and analysis both read them here.

Rank 3. A factor's unit follows from what must be undone to change it and from what is new in every run
(``design.units``). Units lie within each other: build, part and fill where they are kept over several runs, run; a term
belongs to the finest unit among its factors. Builds are fixed blocks where no factor is changed with them. Where every
unit holds the same, each stratum has an exact mean square of its own; elsewhere ``unbalanced`` says why not. Stations
and readings are sub-samples: they stand in the table and are never an error.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import CENTRE, Brief
from toolkit.design import _skeleton as skeleton
from toolkit.design import base, latin, positions, units
from toolkit.design import terms as model_terms
from toolkit.design._skeleton import ErrorPart, Stratum
from toolkit.design.layouts import (
    BLOCKS,
    PLOTS_IN_BLOCKS,
    PLOTS_RANDOMISED,
    RANDOMISED,
    WHOLE_PLOTS,
    layout_of,
    layout_of_builds,
)
from toolkit.design.terms import Term
from toolkit.design.units import unit_of
from toolkit.errors import DesignError, listing, nearest
from toolkit.numeric import contrasts
from toolkit.wording import filled, joined

__all__ = [
    "BLOCKS", "PLOTS_IN_BLOCKS", "PLOTS_RANDOMISED", "RANDOMISED", "WHOLE_PLOTS", "ErrorPart", "Strata", "Stratum",
    "again", "layout_of", "layout_of_builds", "of_runs", "unit_of",
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class Strata:
    """Strata of a run table, as planned or as run.

    Attributes
    ----------
    brief : Brief
    runs : DataFrame
        The run table they were made from (run order of the rows kept).
    layout : str
        completely randomised, complete blocks, whole plots (builds are units), whole plots in complete blocks, or whole
        plots, completely randomised.
    terms : tuple of Term
    columns : ndarray, shape (runs, parameters)
        The mean and the terms.
    spans : dict
        Term to slice of ``columns``.
    block_columns : ndarray, shape (runs, blocks - 1 + covariates + positions - 1)
        What is taken out before any term: fixed builds (none where builds are units or there is one), then
        covariates less their reference value, then the positions of a run where these hold parts of their own.
    strata : tuple of Stratum
        The coarsest first.
    members : dict
        Unit to ndarray of int, shape (runs,): which unit of that kind each run belongs to; the coarsest first, of
        those whose scatter can be an error.
    covariates : mapping of str to float
        Covariate to its reference value, in the order of their columns.
    unbalanced : str
        Why the strata have no exact mean squares of their own; empty when they have.
    alike : bool
        True when every unit holds the same combinations, so that scatter between them can be told by mean squares even
        where comparisons cannot (pilots of a few combinations).
    position_df : int
        How many of the last ``block_columns`` are those of positions, or of the places of a Latin square; 0 where there
        are neither.
    """

    brief: Brief
    runs: pd.DataFrame
    layout: str
    terms: tuple[Term, ...]
    columns: np.ndarray
    spans: dict[Term, slice]
    block_columns: np.ndarray
    strata: tuple[Stratum, ...]
    members: dict[str, np.ndarray]
    unbalanced: str = ""
    alike: bool = True
    covariates: Mapping[str, float] = field(default_factory=dict)
    position_df: int = 0

    @property
    def full_columns(self) -> np.ndarray:
        """Terms, then fixed blocks and covariates, shape (runs, parameters + blocks - 1 + covariates)."""
        return np.hstack([self.columns, self.block_columns])

    @property
    def finest(self) -> str:
        """The unit that each row is: the run, or the position in a run."""
        return self.units[-1]

    @property
    def run_count(self) -> int:
        """How many runs there are, whatever each is divided into."""
        return len(set(self.members[units.RUN].tolist()))

    @property
    def build_columns(self) -> np.ndarray:
        """Of ``block_columns`` those of fixed builds, shape (runs, blocks - 1)."""
        return self.block_columns[:, : self.block_columns.shape[1] - len(self.covariates) - self.position_df]

    @property
    def position_columns(self) -> np.ndarray:
        """Of ``block_columns`` those of positions, shape (runs, positions - 1); none where a run is not divided."""
        return self.block_columns[:, self.block_columns.shape[1] - self.position_df :]

    def beside(self, stratum: str) -> np.ndarray:
        """What is taken out of a stratum before its terms, shape (runs, columns): of the coarsest builds and
        covariates, of the finest positions.

        Checked against: tests/unit/design/test_positions.py.
        """
        last = self.block_columns.shape[1] - self.position_df
        parts = [self.block_columns[:, :last]] if stratum == self.units[0] else []
        parts += [self.position_columns] if stratum == self.finest else []
        return np.hstack([self.block_columns[:, :0], *parts])

    @property
    def blocked(self) -> bool:
        """True when builds are fixed blocks."""
        return self.layout in (BLOCKS, PLOTS_IN_BLOCKS)

    @property
    def of_builds(self) -> str:
        """What builds are, whatever is kept within them (see ``layout_of_builds``)."""
        return layout_of_builds(self.brief)

    @property
    def units(self) -> tuple[str, ...]:
        """The units whose scatter can be an error, the coarsest first; the run last, or the position in a run."""
        return tuple(self.members)

    @property
    def plots(self) -> bool:
        """True when some factor belongs to a unit of several runs."""
        return len(self.members) > 1

    @property
    def balanced(self) -> bool:
        """True when every stratum has an exact mean square of its own."""
        return not self.unbalanced

    @property
    def id_columns(self) -> tuple[str, ...]:
        """The columns of ``runs`` that say which units a run belongs to."""
        return units.id_columns(self.brief)

    def stratum(self, name: str) -> Stratum:
        """The stratum called ``name``.

        Raises
        ------
        DesignError
            When there is none.
        """
        if found := [item for item in self.strata if item.name == name]:
            return found[0]
        known = [item.name for item in self.strata]
        near = nearest(name, known)
        raise DesignError(f"stratum '{name}': there is none; expected {listing(known)}. {near}".rstrip())

    def of_term(self, term: Term) -> str:
        """The name of the stratum a term is judged in: the finest unit among its factors."""
        return skeleton.unit_of_term(self.brief, term)

    def expected(self, stratum: str) -> dict[str, float]:
        """The expected mean square of a stratum, per run value, as multiples of the variance of each unit.

        Parameters
        ----------
        stratum : str
            build, part, fill, run or position; build also where builds are blocks.

        Returns
        -------
        dict of str to float
            Unit to the runs in one such unit: of whole plots of four runs, build: {'build': 4, 'run': 1}. Where the
            strata are not balanced the runs on average.

        Notes
        -----
        Textbook expected mean squares of nested strata.

        Checked against: the skeleton tables of Cochran and Cox (from memory) and mean squares of drawn campaigns,
        tests/unit/design/test_units.py.
        """
        chain = [*(["build"] if self.blocked else []), *self.units]
        sizes = {unit: len(self.runs) / len(set(units.codes(self.brief, self.runs, unit))) for unit in chain}
        return {unit: sizes[unit] for unit in chain[chain.index(stratum) :]}

    def scaled(self, stratum: str, values: np.ndarray) -> np.ndarray:
        """Run values, or columns, as a stratum sees them.

        Parameters
        ----------
        stratum : str
        values : ndarray, shape (runs,) or (runs, columns)

        Returns
        -------
        ndarray, shape (units,) or (units, columns)
            Means of the units, less the mean of the coarser unit that each lies in (of the coarsest: as they are),
            times the root of the runs in a unit, so that squares are on the scale of one run.
        """
        return skeleton.scaled(self.members, stratum, values)

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
            One part in one stratum as a rule; more where a contrast mixes changes of several units. Empty when the
            contrast is not estimable, and where the strata are not balanced (see ``unbalanced``).

        Notes
        -----
        Balanced strata are orthogonal, so the columns of each are treated apart and the variances add (textbook
        split-plot algebra).
        """
        if self.unbalanced or not self.estimable(row):
            return ()
        made = []
        for name, chosen in self.columns_of().items():
            if not np.any(np.abs(row[chosen]) > 1e-12):
                continue
            beside = self.beside(name)
            columns = np.hstack([self.columns[:, chosen], beside])
            own = np.concatenate([row[chosen], np.zeros(beside.shape[1])])
            # Balanced: a stratum's columns are what it sees of them.
            made.append(self._part(name, own, columns))
        return tuple(made)

    def columns_of(self) -> dict[str, np.ndarray]:
        """Stratum to a mask of its columns, shape (parameters,); the mean belongs to the coarsest."""
        made = {name: np.zeros(self.columns.shape[1], dtype=bool) for name in self.units}
        for term, span in self.spans.items():
            made[self.units[0] if term == () else self.of_term(term)][span] = True
        return made

    def _part(self, name: str, row: np.ndarray, columns: np.ndarray) -> ErrorPart:
        """One stratum's share for a contrast of its own columns."""
        inverse = np.linalg.pinv(columns.T @ columns, rcond=1e-10, hermitian=True)
        return ErrorPart(name, float(row @ inverse @ row), int(self.stratum(name).error_df or 0))

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

    def __repr__(self) -> str:
        """The layout and the strata."""
        told = [self.layout, filled(self.table).to_string(index=False)]
        return "\n".join([*told, *([f"not balanced: {self.unbalanced}"] if self.unbalanced else [])])


def of_runs(brief: Brief, runs: pd.DataFrame, *, covariates: Mapping[str, float] | None = None) -> Strata:
    """The strata of a table of runs, planned or as run.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        Columns run_id, build_id and one per factor with level names; one row a run. Rows that are not to be
        analysed must be left out beforehand. Where positions hold parts of their own, one row a run with a column
        for each position, or one row a run and position (``design.positions``): the strata have the latter.
    covariates : mapping of str to float, optional
        Columns of numbers to take out before any term, each less its reference value: means and comparisons are
        then told at that value.

    Raises
    ------
    DesignError
        When a build-level factor changes within a build, a stratum is not covered, or covariates meet positions.

    Examples
    --------
    A sprocket is changed with the build, so builds judge it; runs judge the oil:

    >>> from toolkit import shipped
    >>> from toolkit.brief import reading
    >>> from toolkit.design import factorial
    >>> brief = reading.read(shipped.folder("data") / "sprocket-build" / "campaign.toml")
    >>> laid = of_runs(brief, factorial.full(brief, builds=4).table)
    >>> print(laid.table[["stratum", "units", "terms", "error_df"]].to_string(index=False))
    stratum  units               terms  error_df
      build      4            sprocket         2
        run      8 oil, sprocket × oil         2
    """
    runs = runs.reset_index(drop=True)
    if base.joined(brief) and "phase" in runs and not (runs["phase"] == "extension").any():
        # Runs of the phases before it are told by the model of those.
        brief = base.alone(brief)
    if by_position.divided(brief):
        runs = positions.rows_of(brief, runs)
    taken_out = dict(covariates or {})
    layout, chain = layout_of(brief), units.of_brief(brief)
    units.check(brief, runs)
    if by_position.divided(brief) and taken_out:
        raise DesignError(
            "covariates are not covered where positions of a run are the units of a factor: a covariate has one slope "
            "between runs and another within them. Leave the covariates out."
        )
    centre = any((runs[name] == CENTRE).any() for name in brief.factor_names)
    # Beside axial points centre points belong to the surface.
    terms = model_terms.of_brief(brief, curvature=centre and not base.second_order(brief))
    columns, spans = model_terms.columns(brief, runs, terms)
    blocked = layout in (BLOCKS, PLOTS_IN_BLOCKS)
    block_columns = skeleton.block_columns_of(runs["build_id"].astype(str)) if blocked else np.zeros((len(runs), 0))
    if taken_out:
        beside = [runs[name].to_numpy(dtype=float) - at for name, at in taken_out.items()]
        block_columns = np.hstack([block_columns, np.column_stack(beside)])
    divided = by_position.divided(brief)
    # What is taken out of the finest stratum: positions within runs, or places of a Latin square within builds.
    of_positions = positions.effects(brief, runs) if divided else latin.place_columns(brief, runs)
    block_columns = np.hstack([block_columns, of_positions])
    members = {unit: units.codes(brief, runs, unit) for unit in chain}
    # Places lie in the order of runs, positions within a run.
    inside = of_positions if divided else of_positions[:, :0]
    own_only = block_columns[:, : block_columns.shape[1] - inside.shape[1]]
    strata = [skeleton.stratum_of(brief, members, unit, terms, columns, spans, own_only, inside) for unit in chain]
    if blocked:
        builds = int(runs["build_id"].nunique())
        strata.insert(0, Stratum("build", builds, (), 0, None, "block: compared within, never an error"))
    reason, alike = skeleton.unbalanced(brief, runs, members, columns, spans, inside)
    if len(chain) > 1 and taken_out:
        # One slope over all runs: no stratum holds its mean square any longer.
        reason, alike = reason or f"{joined(list(taken_out))} taken out", False
    return Strata(
        brief,
        runs,
        layout,
        terms,
        columns,
        spans,
        block_columns,
        (*strata, *skeleton.sub_samples(brief, len(set(units.codes(brief, runs, units.RUN))))),
        members,
        reason,
        alike,
        taken_out,
        of_positions.shape[1],
    )


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
