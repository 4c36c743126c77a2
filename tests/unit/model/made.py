"""Briefs and run values made from a data frame, for tests of the analysis."""

import pandas as pd

from toolkit.brief.model import Brief, Comparison, Factor, Level, PlanChoice, Response


def brief_of(
    data,
    factors,
    response,
    *,
    block=None,
    build_level=(),
    scale="linear",
    better="smaller",
    comparisons=(),
    families=(),
    nil=(),
    alpha=0.05,
    levels=None,
    numeric=(),
    pilot=None,
    extension=None,
    stations=None,
    per_run="value",
    worthwhile=None,
):
    """A brief with these columns of ``data`` as factors.

    Every level in order of appearance, or as ``levels`` says; factors named in ``build_level`` have the build as
    their unit, all others the run.
    """
    levels = levels or {}
    made = []
    for name in factors:
        names = levels.get(name, list(dict.fromkeys(data[name].astype(str))))
        values = [float(level) if name in numeric else None for level in names]
        made.append(
            Factor(
                name,
                "build" if name in build_level else "part",
                tuple(Level(level, value=value) for level, value in zip(names, values, strict=True)),
            )
        )
    asked = Response(
        response,
        better=better,
        scale=scale,
        per_run=per_run,
        stations=stations,
        worthwhile_change_pct=worthwhile if scale == "log" else None,
        worthwhile_change=worthwhile if scale == "linear" else None,
    )
    return Brief(
        id="test",
        question="?",
        seed=1,
        factors=tuple(made),
        responses=(asked,),
        comparisons=tuple(comparisons),
        families=tuple(families),
        alpha=alpha,
        new_each_run=("part",),
        block_by="build" if block else None,
        pilot=pilot,
        extension=extension,
        plan=PlanChoice(nil_interactions=tuple(nil)),
    )


def runs_of(data, factors, response, *, build=None):
    """Run values as the analysis takes them, one row a row of ``data``."""
    made = pd.DataFrame({name: data[name].astype(str).to_numpy() for name in factors})
    made.insert(0, "run_id", [f"R{at + 1:03d}" for at in range(len(data))])
    made.insert(1, "build_id", data[build].astype(str).to_numpy() if build else "B1")
    made[response] = data[response].to_numpy(dtype=float)
    return made


def simple(name, factor, of, against, **more):
    """A comparison of two levels of one factor."""
    return Comparison(name, of={factor: of}, against={factor: against}, **more)


def pin_by_oil(values, *, builds=("B1", "B2", "B3"), response="elongation_pct"):
    """A 2x2 of pin and oil in every build, the oil changing fastest; ``values`` in that order."""
    lines = [(build, pin, oil) for build in builds for pin in ("P0", "P1") for oil in ("O0", "O1")]
    made = pd.DataFrame(lines, columns=["build", "pin", "oil"])
    made[response] = list(values)
    return made


# INVENTED numbers: a 2x2 in three builds, the coated pin wears about a quarter less.
INVENTED = (0.101, 0.094, 0.079, 0.066, 0.118, 0.103, 0.083, 0.078, 0.109, 0.091, 0.088, 0.071)
