"""Checks of the covariates (rank 2).

None stands for what was refused already; every function gives what it finds.
"""

from __future__ import annotations

from toolkit.brief import check_names
from toolkit.brief.covariate import RUN_ORDER, metal_in_oil
from toolkit.brief.found import Found, Loc, quoted, repeats
from toolkit.brief.model import Brief
from toolkit.brief.positions import POSITION

MOST = 6
_OWN = (RUN_ORDER, "run_time_h")


def covariates(brief: Brief) -> list[Found]:
    """What is wrong with the covariates."""
    given = [(at, item) for at, item in enumerate(brief.covariates) if item is not None]
    if not given:
        return []
    made = []
    if len(brief.covariates) > MOST:
        made.append(Found(("covariate",), f"{len(brief.covariates)} covariates", f"{MOST} at most"))
    if any(item is not None and item.undo == POSITION for item in brief.factors):
        words, remedy = "covariates with positions", "A covariate has one slope between runs and another within them"
        told = f"{remedy}: not covered. Delete the section."
        made.append(Found(("covariate",), words, "factors that are changed with the run", told))
    made += repeats(((("covariate", at, "name"), item.name) for at, item in given), "covariate")
    for at, item in given:
        made += _name(brief, item.name, ("covariate", at, "name"))
    return made


def _name(brief: Brief, name: str | None, loc: Loc) -> list[Found]:
    """What is wrong with the name of one covariate."""
    if name is None or name in _OWN:
        return []
    responses = [item for item in brief.responses if item is not None]
    expected = "something that is neither asked about nor its result"
    if name in [item.name for item in responses]:
        metal = metal_in_oil(name)
        return [Found(loc, f"{quoted(name)} is a response", expected, _METAL if metal else "Leave it out.")]
    if name in [item.name for item in brief.factors if item is not None]:
        return [Found(loc, f"{quoted(name)} is a factor", expected, "Leave it out.")]
    if metal_in_oil(name) and any(item.name and item.source != "oil" for item in responses):
        what = f"{quoted(name)} is metal in the oil"
        return [Found(loc, what, "something that the treatment does not act on", _METAL)]
    return check_names.column(loc, name, "covariate")


_METAL = (
    "It is worn metal: taking it out would take out the treatment's own effect. Analyse it as a response beside the "
    "wear."
)
