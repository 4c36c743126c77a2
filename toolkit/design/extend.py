"""The extension as a design: mirror images, axial points, runs that free effects, make-up runs (rank 3)."""

from __future__ import annotations

from collections.abc import Sequence

import pandas as pd

from toolkit.brief import axial_points, extensions
from toolkit.brief.designs import SECOND_ORDER
from toolkit.brief.model import CENTRE, Brief
from toolkit.design import _refused, base, factorial, strata, units
from toolkit.design.base import Line
from toolkit.design.design import Design
from toolkit.errors import DesignError
from toolkit.wording import counted


def design(brief: Brief, *, builds: int | None = None, replicates: int | None = None) -> Design:
    """The extension of a brief whose extension is more than the same runs again.

    Parameters
    ----------
    brief : Brief
        With an extension of a kind other than 'more of the same'.
    builds : int, optional
        Where builds are blocks: how many further builds; None: as the brief says, or as many as the main phase has of
        a mirror image, 1 of the others.
    replicates : int, optional
        Where runs are completely randomised: how often the set is run; None: as the brief says, else likewise.

    Returns
    -------
    Design
        phase 'extension', builds X1, X2 ...; its strata are those of its own runs, in the model of both phases.

    Raises
    ------
    DesignError
        When factors are kept over several runs, the builds do not hold whole sets, or a build does not last.

    Notes
    -----
    Centre points of the main phase are run again in the builds of a mirror image, as in the builds of the main phase;
    where runs are completely randomised those of the main phase stand alone.

    Checked against: k05-bike-2-7-4-foldover, k05-foldover-resolution, k06-ccd-axial-distance,
    tests/reference/test_extended_cases.py, tests/unit/design/test_extend.py.
    """
    _refuse_kept(brief)
    given, blocked = brief.extension, strata.layout_of_builds(brief) == strata.BLOCKS
    kind = given.design
    mirrored = kind in (extensions.FOLD, extensions.SEMIFOLD)
    if kind == extensions.MAKE_UP:
        lines = tuple(tuple(line[name] for name in brief.factor_names) for line in given.combinations)
        where: tuple[int, ...] = (0,) * len(lines)
    else:
        held = base.of_brief(brief)
        lines, where = held.further, held.further_builds
    if not lines:
        raise DesignError(f"[extension] design = '{kind}': there is not one run in it; look at half and swap.")
    usual = (brief.plan.builds if blocked else brief.plan.replicates) if mirrored else 1
    count = (builds or given.builds if blocked else replicates or given.replicates) or usual or 1
    if not blocked:
        rows = list(lines) * count
        return _made(brief, f"{name(brief)}, {counted(count, 'set')}", rows, ["X1"] * len(rows))
    over = max(where) + 1
    if count % over:
        below = count - count % over
        raise DesignError(
            f"[extension] builds = {count}: one set is spread over {over} builds, so their number must be a multiple "
            f"of {over}; choose {f'{below} or ' if below else ''}{below + over}."
        )
    within = (brief.plan.replicates or 1) if mirrored else 1
    rows, labels = [], []
    for build in range(count):
        own = [line for line, place in zip(lines, where, strict=True) if place == build % over] * within
        own += _centres(brief) if mirrored else []
        rows += own
        labels += [f"X{build + 1}"] * len(own)
    most = max(labels.count(label) for label in set(labels))
    if brief.most_runs_in_build is not None and most > brief.most_runs_in_build:
        raise DesignError(
            f"[extension] design = '{kind}': {most} runs in a build, but a build lasts {brief.most_runs_in_build} "
            f"([blocks] most_runs). Take more builds, or half of the set."
        )
    return _made(brief, f"{name(brief)}, {counted(count, 'build')}", rows, labels)


def name(brief: Brief) -> str:
    """What the extension is called: 'fold-over by oil', 'axial points, rotatable (1.41)'.

    Notes
    -----
    Checked against: tests/unit/design/test_extend.py.
    """
    given = brief.extension
    if given.design == extensions.AXIAL:
        distance = axial_points.distance(brief)
        return f"axial points, {given.axial}" + ("" if distance == 1.0 else f" ({distance:.4g})")
    if given.design == extensions.FREEING:
        return f"runs that free {', '.join(' × '.join(effect) for effect in given.free)}"
    if given.design == extensions.MAKE_UP:
        return f"make-up runs of {counted(len(given.combinations), 'combination')}"
    by = f" by {' and '.join(given.swap)}" if given.swap else ""
    if given.design == extensions.SEMIFOLD:
        return f"semifold{by}, the half with {' and '.join(f'{key} {level}' for key, level in given.half.items())}"
    return f"fold-over{by}" if by else "full fold-over"


def _refuse_kept(brief: Brief) -> None:
    """Refuse units of several runs: these runs would not hold what those of the main phase hold."""
    held = [item for item in brief.factors if units.unit_of(brief, item) != units.RUN]
    if held:
        raise DesignError(
            f"[extension] design = '{brief.extension.design}': not covered where a {units.unit_of(brief, held[0])} is "
            f"kept over several runs ({held[0].name}). Choose design = '{extensions.SAME}': further sets as they were."
        )


def _centres(brief: Brief) -> list[Line]:
    """The centre points of one build of a two-level main phase."""
    if not brief.plan.centre_points or brief.plan.design in SECOND_ORDER:
        return []
    numeric = {item.name for item in brief.factors if item.numeric}
    found = dict.fromkeys(
        tuple(CENTRE if name in numeric else level for name, level in zip(brief.factor_names, line, strict=True))
        for line in base.of_brief(brief).lines
    )
    return list(found) * brief.plan.centre_points if numeric else []


def _made(brief: Brief, called: str, rows: Sequence[Line], builds: Sequence[str]) -> Design:
    """A design from its rows; lines that stand several times are replicates of each other."""
    _refused.beyond(len(rows), factorial.LARGEST)
    table = pd.DataFrame(list(rows), columns=list(brief.factor_names))
    again = table.groupby(list(table.columns), sort=False).cumcount() + 1
    table.insert(0, "build_id", list(builds))
    table.insert(1, "replicate", again.astype(int))
    return Design(brief, "extension", called, strata.of_runs(brief, table))
