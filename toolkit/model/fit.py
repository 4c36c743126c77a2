"""The fit of one response: its estimates, and the mean squares of the strata that the design decided."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from toolkit.brief.model import Brief, Response
from toolkit.design import strata as design_strata
from toolkit.design.strata import Strata
from toolkit.errors import ModelError
from toolkit.model import _ways_out as ways_out
from toolkit.model._layers import Layer, error_of, even_within_builds, layers_of
from toolkit.model._selection import Selection, analysed, findings_table
from toolkit.numeric import contrasts

__all__ = ["Fit", "Selection", "analysed", "fit", "of_strata"]


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
        The strata with an error, taken apart.
    beta : ndarray, shape (parameters,)
        Coefficients of the columns of the strata; with aliased columns one of many, so that only contrasts
        that are estimable may be made of them.
    mean_squares : dict
        Stratum to (error mean square per run value, df); (None, 0) where there is no error estimate.
    residuals : ndarray, shape (runs,)
        What the terms and the builds leave of each run.
    findings : DataFrame
        severity, run_id, part_id, column, rule, found, expected, action.
    notes : tuple of str
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

    @property
    def runs(self) -> pd.DataFrame:
        """The rows the fit rests on (a copy)."""
        return self.strata.runs.copy()

    def layer(self, stratum: str) -> Layer:
        """The stratum called ``stratum``, taken apart."""
        return next(item for item in self.layers if item.stratum == stratum)


def fit(brief: Brief, runs: pd.DataFrame, response: str, *, phase: str = "main") -> Fit:
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

    Returns
    -------
    Fit
        Missing combinations, comparisons confounded with builds and strata without an error stand in its
        findings; they do not stop it.

    Raises
    ------
    ModelError
        When the run values are not in order, a value at or below zero meets the log scale, a value lies below
        its detection limit, no run is left, or whole plots are not balanced.

    Notes
    -----
    Exact mean squares: which one judges a term is decided by the strata (toolkit.design.strata), nowhere
    else.

    Checked against: k01 (NIST StRD and handbook), k02, k03, k04, tests/reference/test_anova_cases.py.
    """
    asked = brief.response(response)
    picked = analysed(runs, asked, brief, phase=phase)
    laid = design_strata.of_runs(picked.brief, picked.runs)
    if laid.not_covered:
        raise ModelError(f"{asked.name}: {laid.not_covered}")
    if phase == "main" and not even_within_builds(laid):
        raise ModelError(
            f"{asked.name}: builds are units here, and within each of them every combination of the "
            f"run-level factors must be run equally often for exact tests. Unbalanced whole plots are not "
            f"covered yet: repeat the missing runs in every build."
        )
    values = picked.runs[asked.name].to_numpy(dtype=float)
    made = of_strata(brief, asked, laid, np.log(values) if asked.scale == "log" else values)
    rows = ways_out.findings_of(brief, laid, asked.name) if phase == "main" else []
    parts = [part for part in (picked.findings, findings_table(rows)) if len(part)]
    findings = pd.concat(parts, ignore_index=True) if parts else findings_table([])
    return replace(made, findings=findings, notes=(*_notes(brief, asked, laid), *picked.notes, *_exact(made)))


def of_strata(brief: Brief, response: Response, laid: Strata, y: np.ndarray) -> Fit:
    """The bare fit of values to strata already laid out, without looking for faults: for simulations.

    Parameters
    ----------
    brief : Brief
    response : Response
    laid : Strata
    y : ndarray, shape (runs,)
        Values on the analysis scale.

    Returns
    -------
    Fit
        Without findings and notes.

    Raises
    ------
    ModelError
        When a value is missing.
    """
    given = np.asarray(y, dtype=float)
    # The first value goes before the mean does: both differences are exact in floating point.
    shifted = given - given[0]
    centred = shifted - shifted.mean()
    layers = layers_of(laid, centred)
    level = max(1.0 if response.scale == "log" else 0.0, float(np.abs(given).max()))
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


def _notes(brief: Brief, response: Response, laid: Strata) -> tuple[str, ...]:
    """What the reader of the tables must know about how they were made."""
    told = [
        "ln of the run values; estimates are ratios of medians (geometric means)"
        if response.scale == "log"
        else "run values as they are; estimates are differences of means"
    ]
    if laid.layout == design_strata.BLOCKS:
        told.append("builds are fixed blocks: levels are compared within builds")
    if laid.layout == design_strata.WHOLE_PLOTS:
        told.append("a factor changed with the build is judged by the scatter between builds")
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
