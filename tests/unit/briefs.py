"""Small briefs that several tests start from; INVENTED."""

from __future__ import annotations

from dataclasses import replace

from toolkit.brief.model import Brief, Comparison, Factor, Level, Pilot, PlanChoice, Response, Stations


def factor(name: str, *levels: str, undo: str = "part") -> Factor:
    """A factor with named levels."""
    return Factor(name, undo, tuple(Level(level) for level in levels))


def numeric(name: str, *levels: float, undo: str = "setting") -> Factor:
    """A factor with numbers as levels."""
    return Factor(name, undo, tuple(Level(f"{level:g}", value=level) for level in levels))


def blocked(**changes: object) -> Brief:
    """A 2x2 in complete blocks (builds), worthwhile change 20 %."""
    brief = Brief(
        id="t",
        question="Which?",
        seed=7,
        factors=(factor("pin", "P0", "P1"), factor("oil", "O0", "O1", undo="fill")),
        responses=(
            Response(
                "elongation_pct", stations=Stations("segment", 10, 2, ("before", "after")), worthwhile_change_pct=20.0
            ),
        ),
        comparisons=(
            Comparison("coating", of={"pin": "P1"}, against={"pin": "P0"}),
            Comparison("both", of={"pin": "P1", "oil": "O1"}, against={"pin": "P0", "oil": "O0"}),
            Comparison("together", interaction=("pin", "oil")),
        ),
        new_each_run=("part", "fill"),
        block_by="build",
        pilot=Pilot(({"pin": "P0", "oil": "O0"}, {"pin": "P1", "oil": "O0"}), replicates=2, builds=1),
        plan=PlanChoice(builds=3),
    )
    return replace(brief, **changes)


def whole_plots(**changes: object) -> Brief:
    """A factor changed with the build, another with the fill."""
    brief = blocked(
        factors=(factor("sprocket", "S0", "S1", undo="build"), factor("oil", "O0", "O1", undo="fill")),
        block_by=None,
        pilot=None,
        plan=PlanChoice(builds=8),
        comparisons=(
            Comparison("sprocket", of={"sprocket": "S1"}, against={"sprocket": "S0"}),
            Comparison("oil", of={"oil": "O1"}, against={"oil": "O0"}),
            Comparison("both", of={"sprocket": "S1", "oil": "O1"}, against={"sprocket": "S0", "oil": "O0"}),
        ),
    )
    return replace(brief, **changes)


def randomised(**changes: object) -> Brief:
    """One factor of three levels, completely randomised."""
    brief = blocked(
        factors=(factor("finish", "turned", "honed", "lapped"),),
        block_by=None,
        pilot=None,
        plan=PlanChoice(replicates=4),
        comparisons=(
            Comparison("honing", of={"finish": "honed"}, against={"finish": "turned"}),
            Comparison("lapping", of={"finish": "lapped"}, against={"finish": "turned"}),
        ),
    )
    return replace(brief, **changes)
