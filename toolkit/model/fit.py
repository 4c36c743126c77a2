"""The fit of one response: its estimates, and the mean squares of the strata that the design decided."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief, Response
from toolkit.design import latin, phases, units
from toolkit.design import strata as design_strata
from toolkit.design.strata import Strata
from toolkit.errors import ModelError
from toolkit.model import _ways_out as ways_out
from toolkit.model import mixed
from toolkit.model._layers import Layer, error_of, layers_of, within_layer, within_units
from toolkit.model._selection import Selection, analysed, findings_table
from toolkit.model.mixed import Mixed
from toolkit.numeric import contrasts

__all__ = ["Fit", "Selection", "analysed", "fit", "of_strata"]

BLOCKS = "builds are fixed blocks: levels are compared within builds"


@dataclass(frozen=True, eq=False)
class Fit:
    """One response fitted over the runs of one phase.

    Attributes
    ----------
    brief : Brief
    response : Response
    strata : Strata
        As run; its ``runs`` are the rows the fit rests on.
    y : ndarray, shape (runs,)
        Run values on the analysis scale: ln on the log scale.
    layers : tuple of Layer
        The strata with an error, taken apart; none where ``mixed`` judges.
    beta : ndarray, shape (parameters,)
        Coefficients of the columns of the strata; with aliased columns one of many, so that only contrasts
        that are estimable may be made of them.
    mean_squares : dict
        Stratum to (error mean square per run value, df); (None, 0) where there is no error estimate. Where ``mixed``
        judges: of the run alone, from differences within the units.
    residuals : ndarray, shape (runs,)
        What the terms and the units leave of each run, the units taken as they are.
    findings : DataFrame
        severity, run_id, part_id, column, rule, found, expected, action.
    notes : tuple of str
    mixed : Mixed or None
        The model that judges where the strata are not balanced; None where they have exact mean squares.
    """

    brief: Brief
    response: Response
    strata: Strata
    y: np.ndarray
    layers: tuple[Layer, ...]
    beta: np.ndarray
    mean_squares: dict[str, tuple[float | None, int]]
    residuals: np.ndarray
    findings: pd.DataFrame
    notes: tuple[str, ...]
    mixed: Mixed | None = None

    @property
    def within(self) -> bool:
        """True where nothing but differences within units can be judged: not balanced, and no model of all of it."""
        return self.mixed is None and len(self.strata.units) > 1 == len(self.layers)

    @property
    def runs(self) -> pd.DataFrame:
        """The rows the fit rests on (a copy)."""
        return self.strata.runs.copy()

    def layer(self, stratum: str) -> Layer:
        """The stratum called ``stratum``, taken apart."""
        return next(item for item in self.layers if item.stratum == stratum)

    def __repr__(self) -> str:
        """What was fitted, over which runs, and the error that each stratum leaves."""
        ln = "SD of ln" if self.response.scale == "log" else "SD"
        errors = [
            f"{name}: {ln} {square**0.5:.3g} on {df:g} df" if square is not None else f"{name}: no error estimate"
            for name, (square, df) in self.mean_squares.items()
        ]
        head = f"{self.response.name}: {self.strata.run_count} runs, {self.strata.layout}"
        return "\n".join([head, *errors, *self.notes])


def fit(
    brief: Brief, runs: pd.DataFrame, response: str, *, phase: str = "main", recover_blocks: bool = False
) -> Fit:
    """The fit of one response, after everything that would make it wrong or impossible has been looked for.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        Run values, all phases and verdicts; the rows to analyse are picked here (see ``analysed``).
    response : str
        Name of the response.
    phase : str
        main, or pilot for the scatter of the pilot alone.
    recover_blocks : bool
        True to take builds that are blocks as random, so that differences between builds add to the answers
        (recovery of inter-block information); the notes say so.

    Returns
    -------
    Fit
        Missing combinations, comparisons confounded with builds and strata without an error stand in its
        findings; they do not stop it.

    Raises
    ------
    ModelError
        When the run values are not in order, a value at or below zero meets the log scale, a value lies below
        its detection limit, no run is left, or units that are not balanced leave nothing to judge by.

    Notes
    -----
    Which error judges a term is decided by the strata (toolkit.design.strata), nowhere else: exact mean squares where
    they are balanced, Kenward and Roger's method elsewhere (toolkit.model.mixed).

    Checked against: k01 (NIST StRD and handbook), k02, k03, k04, tests/reference/test_anova_cases.py.

    Examples
    --------
    The wear of shoe soles (Box, Hunter and Hunter 1978): each boy wears both materials.

    >>> import pandas as pd
    >>> from toolkit import shipped
    >>> from toolkit.brief.model import Brief, Comparison, Factor, Level, Response
    >>> soles = pd.read_csv(shipped.folder("data") / "published" / "shoe-soles.csv", dtype={"boy": str})
    >>> runs = soles.rename(columns={"boy": "build_id"}).assign(run_id="boy " + soles["boy"] + soles["material"])
    >>> brief = Brief(
    ...     id="soles", question="Does material B wear more?", seed=1978, block_by="build", new_each_run=("part",),
    ...     factors=(Factor("material", "part", (Level("A"), Level("B"))),),
    ...     responses=(Response("wear", scale="linear"),),
    ...     comparisons=(Comparison("B against A", of={"material": "B"}, against={"material": "A"}),),
    ... )
    >>> found = fit(brief, runs, "wear")
    >>> from toolkit.model import comparisons
    >>> row = comparisons.comparisons(found).iloc[0]
    >>> f"{row['estimate']:.2f}, {row['df']:g} df, p = {row['p_value']:.3f}"
    '0.41, 9 df, p = 0.009'
    """
    asked = brief.response(response)
    picked = analysed(runs, asked, brief, phase=phase)
    brief = phases.told_by(brief, picked.brief)
    laid = design_strata.of_runs(picked.brief, picked.runs)
    values = picked.runs[asked.name].to_numpy(dtype=float)
    # A pilot lends its scatter and compares nothing: alike units are enough for mean squares.
    exact = (laid.balanced or (phase == "pilot" and laid.alike)) and not (recover_blocks and laid.blocked)
    y = np.log(values) if asked.scale == "log" else values
    try:
        made = of_strata(brief, asked, laid, y, exact=exact, recover_blocks=recover_blocks)
    except ModelError as problem:
        raise ModelError(f"{asked.name}: {problem}") from problem
    rows = ways_out.findings_of(brief, laid, asked.name) if phase == "main" else []
    parts = [part for part in (picked.findings, findings_table(rows)) if len(part)]
    findings = pd.concat(parts, ignore_index=True) if parts else findings_table([])
    told = (*_notes(brief, asked, laid), *(made.mixed.notes if made.mixed is not None else made.notes))
    return replace(made, findings=findings, notes=(*told, *picked.notes, *_exact(made)))


def of_strata(
    brief: Brief,
    response: Response,
    laid: Strata,
    y: np.ndarray,
    *,
    exact: bool | None = None,
    recover_blocks: bool = False,
) -> Fit:
    """The bare fit of values to strata already laid out, without looking for faults: for simulations.

    Parameters
    ----------
    brief : Brief
    response : Response
    laid : Strata
    y : ndarray, shape (runs,)
        Values on the analysis scale.
    exact : bool, optional
        True to take the strata as they are, False for ``mixed``; None: by their balance.
    recover_blocks : bool
        As for ``fit``, where ``mixed`` judges.

    Returns
    -------
    Fit
        Without findings and notes.

    Raises
    ------
    ModelError
        When a value is missing, or units that are not balanced leave nothing to judge by.
    """
    given = np.asarray(y, dtype=float)
    # The first value goes before the mean does: both differences are exact in floating point.
    shifted = given - given[0]
    centred = shifted - shifted.mean()
    level = max(1.0 if response.scale == "log" else 0.0, float(np.abs(given).max()))
    if not (laid.balanced if exact is None else exact):
        try:
            return _mixed(brief, response, laid, given, centred, level, recover_blocks)
        except ModelError as problem:
            if not laid.plots:
                raise
            layer = within_layer(laid, centred)
            if layer.error_df < 1 or not layer.terms:
                raise
            return _within(brief, response, laid, given, layer, level, str(problem))
    layers = layers_of(laid, centred)
    mean_squares = {}
    beta, residuals = np.zeros(laid.columns.shape[1]), centred
    for layer in layers:
        solved = contrasts.least_squares(layer.full, layer.y)
        mean_squares[layer.stratum] = error_of(layer, solved.residual_ss, level)
        residuals = solved.residuals
        at = layer.base.shape[1]
        if at:
            beta[0] = solved.beta[0]
        for term in layer.terms:
            span = laid.spans[term]
            beta[span] = solved.beta[at : at + span.stop - span.start]
            at += span.stop - span.start
    beta[0] += shifted.mean() + given[0]
    return Fit(brief, response, laid, given, layers, beta, mean_squares, residuals, findings_table([]), ())


def _mixed(
    brief: Brief,
    response: Response,
    laid: Strata,
    given: np.ndarray,
    centred: np.ndarray,
    level: float,
    recover_blocks: bool,
) -> Fit:
    """The fit where the strata are not balanced."""
    made = mixed.of_strata(laid, centred, recover_blocks=recover_blocks)
    solved = contrasts.least_squares(within_units(laid), centred)
    noise = len(given) * (8.0 * np.finfo(float).eps * level) ** 2
    square = 0.0 if solved.residual_ss <= noise else solved.residual_ss / solved.df
    beta = np.zeros(laid.columns.shape[1])
    own = made.kept < len(beta)
    beta[made.kept[own]] = made.fit.beta[own]
    beta[0] += (given - centred).mean()
    none, squares = findings_table([]), {laid.finest: (square, solved.df)}
    return Fit(brief, response, laid, given, (), beta, squares, solved.residuals, none, (), made)


def _within(
    brief: Brief, response: Response, laid: Strata, given: np.ndarray, layer: Layer, level: float, why: str
) -> Fit:
    """The fit where only differences within units can be judged."""
    solved = contrasts.least_squares(layer.full, layer.y)
    chosen = laid.columns_of()[laid.finest]
    beta = np.zeros(laid.columns.shape[1])
    at = layer.base.shape[1]
    for term in layer.terms:
        span = laid.spans[term]
        beta[span] = solved.beta[at : at + span.stop - span.start]
        at += span.stop - span.start
    # What the runs leave of the coarser terms: told without an error.
    coarser = np.hstack([laid.columns[:, ~chosen], laid.block_columns])
    left = given - laid.columns[:, chosen] @ beta[chosen]
    beta[~chosen] = contrasts.least_squares(coarser, left).beta[: int((~chosen).sum())]
    squares: dict[str, tuple[float | None, int]] = dict.fromkeys(laid.units[:-1], (None, 0))
    squares[laid.finest] = error_of(layer, solved.residual_ss, level)
    told = (f"{why} What is compared within {units.PLURALS[laid.units[-2]]} is answered from the differences there",)
    return Fit(brief, response, laid, given, (layer,), beta, squares, solved.residuals, findings_table([]), told)


def _notes(brief: Brief, response: Response, laid: Strata) -> tuple[str, ...]:
    """What the reader of the tables must know about how they were made."""
    told = [
        "ln of the run values; estimates are ratios of medians (geometric means)"
        if response.scale == "log"
        else "run values as they are; estimates are differences of means"
    ]
    if laid.blocked:
        told.append(BLOCKS)
    if latin.used(laid.brief):
        told.append("places in the order of a build are taken out too (Latin square)")
    for unit in (unit for unit in laid.units[:-1] if laid.stratum(unit).terms):
        name, many = units.NAMES[unit], units.PLURALS[unit]
        told.append(f"a factor changed with the {name} is judged by the scatter between {many}")
    if by_position.divided(brief):
        told.append(
            "a row a run and position; what lies side by side in a run is judged by the scatter between positions "
            "within runs, positions themselves taken out as fixed"
        )
    for item in brief.plan.nil_interactions:
        told.append(f"{' × '.join(item)} is declared nil and not in the model; its scatter counts as error")
    return tuple(told)


def _exact(made: Fit) -> tuple[str, ...]:
    """A note where repeats agree to the last digit, which no rig does."""
    return tuple(
        f"the error mean square of the {name} stratum is exactly 0: the repeats agree to the last digit, so "
        f"nothing can be tested; were values copied?"
        for name, (mean_square, df) in made.mean_squares.items()
        if df and mean_square == 0.0
    )
