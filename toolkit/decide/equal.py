"""The declared covariates: which carry the verdict, which answers stand beside it, and why (rank 7)."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from toolkit import measured_in, stamp
from toolkit.brief.covariate import RUN_ORDER
from toolkit.brief.model import Brief, Response
from toolkit.errors import DesignError, ModelError
from toolkit.model import comparisons, covariates
from toolkit.model.at_equal import at_equal, value_words
from toolkit.model.covariates import LOOK, Adjusted
from toolkit.model.fit import Fit

MOVED, SLOPES = "moved by the treatment", "equal slopes"


@dataclass(frozen=True, eq=False)
class Equal:
    """The declared covariates of one response.

    Attributes
    ----------
    judged : tuple of str
        Those that the verdict is told at: sealed before any run, and fixed before the treatment can act.
    basis : str
        What the comparisons beside the verdict rest on: unadjusted where the verdict is at equal covariates, at equal
        covariates otherwise.
    beside : DataFrame
        Those comparisons, in the schema of estimates; empty where there are none.
    adjusted : Adjusted or None
        Means, slopes and checks with every declared covariate; None where they cannot be used.
    refused : str
        Why they cannot be used, or not for the verdict; empty where they can.
    sentences : tuple of str
    """

    response: str
    judged: tuple[str, ...]
    basis: str
    beside: pd.DataFrame
    adjusted: Adjusted | None
    refused: str
    sentences: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """in_verdict[], basis, comparisons[], means[], slopes[], checks[], refused, sentences[]."""
        found = self.adjusted
        return stamp.plain(
            {
                "in_verdict": list(self.judged),
                "basis": self.basis,
                "comparisons": stamp.records(self.beside),
                "means": stamp.records(found.means) if found else [],
                "slopes": stamp.records(found.slopes) if found else [],
                "checks": stamp.records(found.checks) if found else [],
                "refused": self.refused or None,
                "sentences": list(self.sentences),
            }
        )

    def __repr__(self) -> str:
        """The sentences."""
        return "\n".join(self.sentences)


def carried(fit: Fit, sealed: Collection[str]) -> tuple[Fit, str]:
    """The fit that the verdict rests on, and why a covariate that was to be in it is not.

    Parameters
    ----------
    fit : Fit
        Without covariates.
    sealed : collection of str
        Covariates that the plan was sealed with before any run.

    Returns
    -------
    fit : Fit
        At equal covariates where some were sealed before any run and are fixed before the treatment can act; else as
        given.
    refused : str
    """
    asked = [item for item in fit.brief.covariates if item.name in sealed and item.unmoved]
    if not asked:
        return fit, ""
    try:
        return at_equal(fit, [item.name for item in asked], at={item.name: item.at for item in asked}), ""
    except (ModelError, DesignError) as problem:
        return fit, str(problem)


def equal(plain: Fit, judged: Fit, refused: str, sealed: Collection[str]) -> Equal | None:
    """What the declared covariates say of a response; None where none is declared.

    Parameters
    ----------
    plain : Fit
        Without covariates.
    judged : Fit
        What the verdict rests on (see ``carried``).
    refused : str
        As ``carried`` gives it.
    sealed : collection of str
    """
    brief, response = plain.brief, plain.response
    if not brief.covariates:
        return None
    names = [item.name for item in brief.covariates]
    inside = tuple(judged.strata.covariates)
    found, why = None, refused
    try:
        found = covariates.adjusted(plain, names, at={item.name: item.at for item in brief.covariates})
    except (ModelError, DesignError) as problem:
        why = why or str(problem)
    told = [f"Covariates: {why}" + (" The verdicts stand without them." if refused else "")] if why else []
    if inside:
        where = _at(judged.strata.covariates)
        told.append(
            f"The verdicts are told at {where}: sealed before any run, and fixed before the treatment can act on it."
        )
        basis, beside = "unadjusted", comparisons.comparisons(plain)
    else:
        basis, beside = "at equal covariates", found.comparisons if found else pd.DataFrame()
    if found is not None:
        told += _why_beside(brief, inside, sealed, refused)
        told += [_slope(response, row) for row in found.slopes.to_dict("records")]
        told += _checks(found, brief)
        if inside and len(inside) < len(names):
            basis, beside = "at equal covariates, all declared", found.comparisons
    return Equal(response.name, inside, basis, beside, found, why, tuple(told))


def _at(where: Mapping[str, float]) -> str:
    """Covariates with their values: 'equal soot (3 %)'."""
    return "equal " + " and ".join(f"{measured_in.label(name)} ({value_words(name, at)})" for name, at in where.items())


def _why_beside(brief: Brief, inside: Collection[str], sealed: Collection[str], refused: str) -> list[str]:
    """Why the verdict does not rest on a covariate, a line each."""
    lines = []
    for item in brief.covariates:
        if refused or item.name in inside:
            continue
        label = measured_in.label(item.name)
        if item.name not in sealed:
            why = "it was not sealed with the plan before the first run"
        else:
            why = "the treatment may act on it (before_run is not true)"
        told = f"{label}: the verdicts are not adjusted for it, because {why}"
        lines.append(f"{told}; the adjusted answers stand beside.")
    return lines


def _slope(response: Response, row: Mapping[str, Any]) -> str:
    """The slope of one covariate in words, with its interval and where means are told."""
    name, log = str(row["covariate"]), response.scale == "log"
    label, unit = measured_in.label(name), measured_in.shown(name)
    each = "a run further on" if name == RUN_ORDER else f"1 {unit} more {label}".replace("  ", " ")

    def size(value: float) -> str:
        shown = f"{100.0 * math.expm1(value):+.3g} %" if log else f"{value:+.3g} {response.measured_in}".rstrip()
        return shown.replace("-", "−", 1)

    told = f"{label}: {size(row['slope'])} {measured_in.label(response.name)} for {each}"
    if row["conf_low"] is not None:
        told += f" (interval {size(row['conf_low'])} to {size(row['conf_high'])}, p = {row['p_value']:.2g})"
    return f"{told}; means are told at {value_words(name, row['at'])}"


def _checks(found: Adjusted, brief: Brief) -> list[str]:
    """What the checks say; a covariate fixed before the run differs between treatments by the draw alone."""
    lines = []
    for row in found.checks.to_dict("records"):
        item = next(one for one in brief.covariates if one.name == row["covariate"])
        label = measured_in.label(item.name)
        if row["check"] == MOVED and row["result"] == LOOK and item.unmoved:
            lines.append(
                f"{label}: it differs between the treatments (p = {row['p_value']:.2g}) though it was fixed before "
                f"the run: that is the draw, which adjusting takes out, or before_run is not true"
            )
            continue
        lines.append(f"{label}{str(row['sentence']).removeprefix(item.name)}")
    return lines
