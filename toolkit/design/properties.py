"""What a plan is like before it is run: efficiencies, inflation, variance of prediction, correlations, leverage.

Rank 3. Everything follows from the runs and the model alone; how wide intervals will be is told in
``size.half_widths``. Runs are taken as independent here, builds that are blocks are taken out.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from toolkit import stamp
from toolkit.brief.model import CENTRE
from toolkit.design import _factor_space as factor_space
from toolkit.design import base, units
from toolkit.design import terms as model_terms
from toolkit.design._factor_space import Space
from toolkit.design.strata import Strata
from toolkit.design.terms import CURVATURE, Term
from toolkit.errors import ModelError
from toolkit.numeric import optimality
from toolkit.wording import joined

BUILDS = "builds"
# Correlations below this are rounding, and above 1 less this are 1.
_NIL = 1e-9
_SHARES = np.linspace(0.0, 1.0, 101)


@dataclass(frozen=True, eq=False)
class Properties:
    """What a plan is like, from its runs and its model.

    Attributes
    ----------
    coded : DataFrame
        One row a run: run_id where it has one, build_id, then each factor in natural units and, as '<factor>_coded', in
        coded ones (None for names without a number).
    efficiencies : dict
        d, a, g and i in per cent, ``parameters``, ``runs``, ``largest_variance``, ``mean_variance``; empty where the
        runs cannot tell the model, and then ``notes`` say so.
    space : str
        Where predictions are asked for, in words.
    prediction : DataFrame
        share, variance: the share of that space in which the variance of prediction is at most so large, in units of
        the variance of a run.
    inflation : DataFrame
        term, inflation: the largest of the term's columns; 1 where a term stands apart.
    correlations : DataFrame
        term, other, correlation: every pair of main effects and interactions of two, and of those with builds.
    leverage : DataFrame
        run_id, leverage: how much of a run's own value its prediction is, builds included.
    notes : tuple of str
    """

    coded: pd.DataFrame
    efficiencies: dict[str, float]
    space: str
    prediction: pd.DataFrame
    inflation: pd.DataFrame
    correlations: pd.DataFrame
    leverage: pd.DataFrame
    notes: tuple[str, ...]

    @property
    def sentences(self) -> tuple[str, ...]:
        """Which terms cannot be told from each other, then how many others go along in part, a line each."""
        known = self.correlations
        size = known["correlation"].abs()
        told, seen = [], set()
        whole = known[size > 1.0 - _NIL]
        for name, rows in whole.groupby("term", sort=False):
            # What is one with the first of a chain is one with the others of it.
            if name not in seen:
                told.append(f"{name} cannot be told from {joined(rows['other'])}")
                seen |= {name, *rows["other"]}
        part = known[(size > _NIL) & (size <= 1.0 - _NIL)]
        if len(part):
            most = part.loc[part["correlation"].abs().idxmax()]
            told.append(
                f"{len(part)} of {len(known)} pairs go along in part, {most['term']} and {most['other']} the most "
                f"(correlation {most['correlation']:+.2f})"
            )
        return tuple(told) or ("every main effect and interaction of two stands apart from every other",)

    @property
    def short(self) -> tuple[str, ...]:
        """The efficiencies, the prediction and the inflation, a line each."""
        made = []
        if self.efficiencies:
            found = self.efficiencies
            made.append(
                f"efficiency: D {found['d']:.0f} %, A {found['a']:.0f} %, G {found['g']:.0f} %, I {found['i']:.0f} % "
                f"({found['parameters']:.0f} parameters in {found['runs']:.0f} runs)"
            )
            made.append(
                f"variance of a prediction, in units of the variance of a run: {found['mean_variance']:.2f} on "
                f"average, {found['largest_variance']:.2f} at most, {self.space}"
            )
            if round(found["i"]) > 100:
                made.append(
                    "I is the mean variance of a prediction against that of as many runs spread evenly over the same "
                    "space, so that it can be above 100 %"
                )
            worst = self.inflation.loc[self.inflation["inflation"].idxmax()]
            high = self.leverage.loc[self.leverage["leverage"].idxmax()]
            made.append(
                f"variance inflation: {worst['inflation']:.2f} at most ({worst['term']}); leverage: "
                f"{high['leverage']:.2f} at most ({high['run_id']})"
            )
        return (*made, *self.sentences, *self.notes)

    def to_json(self) -> dict[str, Any]:
        """Every table, and what is said of them."""
        return stamp.plain(
            {
                "coded": stamp.records(self.coded),
                "efficiencies": self.efficiencies,
                "space": self.space,
                "prediction": stamp.records(self.prediction),
                "inflation": stamp.records(self.inflation),
                "correlations": stamp.records(self.correlations),
                "leverage": stamp.records(self.leverage),
                "sentences": list(self.sentences),
                "notes": list(self.notes),
            }
        )

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join(self.sentences)


def properties(laid: Strata) -> Properties:
    """What a plan is like.

    Parameters
    ----------
    laid : Strata
        Of the runs of one phase, in order or not.

    Returns
    -------
    Properties

    Notes
    -----
    Two-level factors stand at -1 and 1, numeric ones of a second-order model in coded units with their squares,
    others as orthogonal contrasts of mean square 1, so that an orthogonal plan has a D-efficiency of 100 %. The
    I-efficiency sets the mean variance against that of runs spread evenly over the same space. Builds that are blocks
    are taken out by least squares before anything is told. (Atkinson and Donev, Optimum Experimental Designs, 1992;
    Myers, Montgomery and Anderson-Cook, Response Surface Methodology; A. Zahran, C. M. Anderson-Cook and R. H. Myers,
    J. Quality Technology 35 (2003) 377-386, the share of the space; from memory.)

    Checked against: k13-optimality-known-designs, tests/unit/design/test_properties.py.
    """
    space = factor_space.of_strata(laid)
    model, blocks = space.columns_of_runs, laid.block_columns
    apart = model - _projected(model, blocks)
    labels = _labels(laid)
    notes = _notes(laid, space)
    efficiencies: dict[str, float] = {}
    prediction = pd.DataFrame({"share": [], "variance": []})
    inflation = pd.DataFrame({"term": [], "inflation": []})
    own = _leverage(np.hstack([model, blocks]))
    try:
        found = optimality.of_runs(apart, space.corners)
    except ModelError:
        # What efficiencies do not take into account is of no use without them.
        notes = (*space.notes, "these runs cannot tell the whole model, so that no efficiencies are told")
    else:
        inverse = np.linalg.inv(apart.T @ apart)
        variance = np.concatenate([_variance(space.points, inverse), _variance(space.corners, inverse)])
        inside = _variance(space.points, inverse)
        mean = float(np.average(_variance(space.evenly, inverse), weights=space.weights))
        count, columns = model.shape
        efficiencies = {
            "d": found.d_efficiency,
            "a": found.a_efficiency,
            "g": 100.0 * columns / (count * float(variance.max())),
            "i": 100.0 * columns / (count * mean),
            "parameters": float(columns),
            "runs": float(count),
            "largest_variance": float(variance.max()),
            "mean_variance": mean,
        }
        prediction = pd.DataFrame({"share": _SHARES, "variance": np.quantile(inside, _SHARES)})
        centred = ((model - model.mean(axis=0)) ** 2).sum(axis=0)
        by_column = np.diag(inverse) * centred
        inflation = pd.DataFrame(
            [
                {"term": model_terms.name_of(term), "inflation": float(by_column[span].max())}
                for term, span in space.spans.items()
                if term != ()
            ]
        )
    leverage = pd.DataFrame({"run_id": labels, "leverage": own})
    return Properties(
        _coded(laid, labels),
        efficiencies,
        space.words,
        prediction,
        inflation,
        _correlations(laid),
        leverage,
        tuple(notes),
    )


def _labels(laid: Strata) -> list[str]:
    """A name for each run: its id, else its number in the plan."""
    if "run_id" in laid.runs:
        return [str(name) for name in laid.runs["run_id"]]
    return [f"run {at + 1}" for at in range(len(laid.runs))]


def _coded(laid: Strata, labels: list[str]) -> pd.DataFrame:
    """The runs in natural and in coded units."""
    brief = laid.brief
    made = pd.DataFrame({"run_id": labels, "build_id": laid.runs["build_id"].astype(str).to_numpy()})
    steps = base.steps(brief) if base.second_order(brief) else None
    for factor in brief.factors:
        levels = laid.runs[factor.name].astype(str).tolist()
        made[factor.name] = [factor.label_of(level) for level in levels]
        if steps is not None:
            made[f"{factor.name}_coded"] = [steps[factor.name][level] for level in levels]
        elif len(factor.levels) == 2:
            place = dict(zip(factor.names, (-1.0, 1.0), strict=True)) | {CENTRE: 0.0}
            made[f"{factor.name}_coded"] = [place[level] for level in levels]
        else:
            made[f"{factor.name}_coded"] = pd.Series([None] * len(levels), dtype=object)
    return made


def _projected(model: np.ndarray, blocks: np.ndarray) -> np.ndarray:
    """What the blocks tell of each column."""
    if not blocks.shape[1]:
        return np.zeros_like(model)
    return np.asarray(blocks @ np.linalg.lstsq(blocks, model, rcond=None)[0])


def _variance(rows: np.ndarray, inverse: np.ndarray) -> np.ndarray:
    """The variance of prediction at each row, shape (rows,)."""
    return np.asarray(np.einsum("ij,jk,ik->i", rows, inverse, rows, optimize=True))


def _leverage(model: np.ndarray) -> np.ndarray:
    """How much of each value its own prediction is, shape (runs,)."""
    left, sizes, _ = np.linalg.svd(model, full_matrices=False)
    return np.asarray((left[:, sizes > 1e-10 * sizes[0]] ** 2).sum(axis=1))


def _correlations(laid: Strata) -> pd.DataFrame:
    """Every pair of main effects and interactions of two factors, with builds where there are several."""
    brief = laid.brief
    names = brief.factor_names
    asked: list[Term] = [(name,) for name in names] + list(combinations(names, 2))
    asked += [term for term in laid.terms if len(term) > 2 and term not in asked]
    columns, spans = model_terms.columns(brief, laid.runs, asked)
    # Sum-coded columns are 1 at the first level: turned round, so that signs are those of the last level.
    sign = -1.0 if not base.second_order(brief) else 1.0
    held = {model_terms.name_of(term): _basis(sign ** len(term) * columns[:, spans[term]]) for term in asked}
    builds = laid.runs["build_id"].astype(str)
    if builds.nunique() > 1 and "build" not in units.of_brief(brief):
        marks = np.eye(builds.nunique())[np.unique(builds.to_numpy(dtype=object), return_inverse=True)[1]]
        held = {BUILDS: _basis(marks), **held}
    rows = [
        {"term": one, "other": other, "correlation": _between(held[one], held[other])}
        for one, other in combinations(held, 2)
        if held[one].shape[1] and held[other].shape[1]
    ]
    return pd.DataFrame(rows, columns=["term", "other", "correlation"])


def _basis(columns: np.ndarray) -> np.ndarray:
    """Orthonormal columns that span the same once the mean is taken out; one column keeps its sign."""
    centred = columns - columns.mean(axis=0)
    if centred.shape[1] == 1:
        size = float(np.linalg.norm(centred))
        return centred / size if size > _NIL else centred[:, :0]
    left, sizes, _ = np.linalg.svd(centred, full_matrices=False)
    return np.asarray(left[:, sizes > 1e-9 * max(float(sizes[0]), 1.0)])


def _between(one: np.ndarray, other: np.ndarray) -> float:
    """The correlation of two terms; of terms of several columns the largest that any of their contrasts have."""
    cross = one.T @ other
    found = float(cross[0, 0]) if cross.shape == (1, 1) else float(np.linalg.norm(cross, 2))
    if abs(found) < _NIL:
        return 0.0
    return float(np.sign(found)) if abs(found) > 1.0 - _NIL else found


def _notes(laid: Strata, space: Space) -> tuple[str, ...]:
    """What the figures do not take into account."""
    made = list(space.notes)
    if laid.plots:
        coarser = " and ".join(units.PLURALS[unit] for unit in laid.units[:-1] if unit in units.PLURALS)
        made.append(
            f"efficiencies and variances of prediction take runs as independent; the scatter between {coarser} is in "
            f"the half-widths"
        )
    if CURVATURE in laid.terms:
        made.append("efficiencies and predictions are those of the model without curvature, which centre points tell")
    return tuple(made)

