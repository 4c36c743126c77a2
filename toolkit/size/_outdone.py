"""Which plans another one outdoes: it shows all that they show, for no more money (rank 5)."""

from __future__ import annotations

from collections.abc import Sequence

from toolkit.brief.model import Brief
from toolkit.design.design import Design
from toolkit.size.option import Option

# Chances this near are the same.
_SAME = 1e-6


def is_outdone(brief: Brief, option: Option, made: Sequence[Option], primary: str, also: Design | None) -> bool:
    """True where another plan costs no more and shows all that this one shows, and the two are not the same."""
    if also is not None and option.name == also.name:
        return False
    own, paid = _shows(option, primary), _paid(brief, option)
    for other in made:
        # One build tells nothing of others, and centre points tell of curvature what no other plan tells.
        alone = other.design.builds < option.design.builds and other.design.builds == 1
        # A part of the combinations leaves interactions untold that all of them tell.
        theirs, ours = other.design.brief.plan, option.design.brief.plan
        less = theirs.design != ours.design or theirs.centre_points < ours.centre_points
        if other is option or alone or less:
            continue
        found = _shows(other, primary)
        if _paid(brief, other) <= paid and all(found[name] >= share - _SAME for name, share in own.items()):
            better = any(found[name] > share + _SAME for name, share in own.items())
            if better or _paid(brief, other) < paid:
                return True
    return False


def _paid(brief: Brief, option: Option) -> float:
    """What a plan is weighed by: its cost, or its runs where there is no price list."""
    return option.price.cost if brief.cost.items else float(option.design.runs)


def _shows(option: Option, primary: str) -> dict[str, float]:
    """Chance of every comparison and choice of the primary response; nought where it cannot be told."""
    shares = {
        f"comparison {claim.comparison}": claim.assurance or 0.0
        for claim in option.claims
        if claim.response == primary and claim.comparison
    }
    return shares | {pick.name: pick.chance or 0.0 for pick in option.picks if pick.response == primary}
