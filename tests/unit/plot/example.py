"""INVENTED results in the toolkit's own schema, for tests of pictures and pages; nothing is estimated."""

import math

import pandas as pd

from toolkit.brief.model import Brief, Comparison, Factor, Family, Held, Level, Protocol, Response, Stations

COLUMNS = (
    "response",
    "comparison",
    "term",
    "contrast",
    "estimate",
    "measured_in",
    "std_error",
    "df",
    "conf_low",
    "conf_high",
    "conf_level",
    "p_value",
    "error_stratum",
    "planned",
    "note",
)
T6 = 2.446911851  # t, 6 df, two-sided 5 %: any table of the t distribution
VERDICTS = (
    "worthwhile gain",
    "gain, size not settled",
    "smaller than worthwhile",
    "not known yet",
    "loss, size not settled",
    "worthwhile loss",
)
VERDICT_OF = (
    "worthwhile gain",
    "not known yet",
    "gain, size not settled",
    "smaller than worthwhile",
    "loss, size not settled",
    "worthwhile loss",
    "not known yet",
)
CENTRES = (0.60, 0.85, 0.80, 1.01, 1.20, 1.60, 0.94)
SPREADS = (0.08, 0.10, 0.06, 0.05, 0.06, 0.07, 0.30)
SHORT = ("coating", "new oil", "both", "film", "old oil", "no coating", "needs")
LONG = (
    "hard nitride-coated pin of the second supplier against ground steel, at the current oil",
    "new additive system of the same viscosity grade",
    "coating and new oil together against neither of them",
    "thin film against none, average over both oils and all three temperatures",
    "old oil, kept for four years in the unheated store, against this year's",
    "pin without any coating from the batch that was found in the drawer",
    "Doesthecoatingneedthenewoilorcanitbeusedwiththeoldonewithoutanyfurtherchange",
)


def brief(names=SHORT, count=4, *, scale="log", better="smaller", name="elongation_pct") -> Brief:
    """A 2x2 campaign with ``count`` comparisons, the last of them the interaction from four on."""
    change = {"worthwhile_change_pct": 20.0} if scale == "log" else {"worthwhile_change": 2.0}
    asked = [
        Comparison(item, of={"pin": "P1"}, against={"pin": "P0"}, family="may we switch") for item in names[:count]
    ]
    if count >= 4:
        asked[-1] = Comparison(names[count - 1], interaction=("pin", "oil"))
    return Brief(
        id="chain-soot",
        question="Does the coated pin or the new oil cut chain wear by 20 %?",
        seed=20417,
        factors=(
            Factor("pin", "part", (Level("P0", "ground steel"), Level("P1", "nitride-coated"))),
            Factor("oil", "fill", (Level("O0", "current"), Level("O1", "new additive system"))),
        ),
        responses=(
            Response(
                name,
                better=better,
                scale=scale,
                stations=Stations("segment", 10, 2, ("before", "after")),
                **change,
            ),
        ),
        comparisons=tuple(asked),
        families=(Family("may we switch"),),
        new_each_run=("part", "fill"),
        block_by="build",
        held=(Held("sump_temp_degC", 100.0, (98.5, 101.5), (94.0, 106.0)),),
        protocol=Protocol(Held("run_time_h", 100.0, (99.0, 101.0))),
    )


def comparisons(asked: Brief) -> pd.DataFrame:
    """One row a comparison, values by ``CENTRES`` and ``SPREADS``, intervals by t on 6 df."""
    response = asked.responses[0]
    log = response.scale == "log"
    rows = []
    for at, item in enumerate(asked.comparisons):
        middle, error = math.log(CENTRES[at]), SPREADS[at]
        low, high = middle - T6 * error, middle + T6 * error
        shown = [math.exp(edge) if log else 10 * edge for edge in (middle, low, high)]
        rows.append(
            (
                response.name,
                item.name,
                None,
                "pin P1 against pin P0, mean over oil",
                shown[0],
                "ratio" if log else response.measured_in,
                error if log else 10 * error,
                6.0,
                shown[1],
                shown[2],
                0.95,
                0.0123,
                "run",
                True,
                None,
            )
        )
    return pd.DataFrame(rows, columns=list(COLUMNS))


def verdicts(asked: Brief) -> pd.DataFrame:
    """One verdict a comparison."""
    return pd.DataFrame(
        [
            (asked.responses[0].name, item.name, VERDICT_OF[at], f"{item.name}: {VERDICT_OF[at]}.")
            for at, item in enumerate(asked.comparisons)
        ],
        columns=["response", "comparison", "verdict", "sentence"],
    )


def means(asked: Brief) -> pd.DataFrame:
    """The mean of each level and of each combination."""
    response = asked.responses[0]
    log = response.scale == "log"
    pin, oil = ({"pin": "P0"}, {"pin": "P1"}), ({"oil": "O0"}, {"oil": "O1"})
    whole = [dict(zip(asked.factor_names, combo, strict=True)) for combo in asked.combinations]
    values = (0.106, 0.079, 0.102, 0.082, 0.115, 0.098, 0.090, 0.069)
    rows = []
    for levels, middle in zip((*pin, *oil, *whole), values, strict=True):
        contrast = ", ".join(f"{name} {level}" for name, level in levels.items())
        edges = [math.exp(math.log(middle) + side * 0.17) if log else middle + side * 0.01 for side in (-1, 1)]
        estimate = (middle, response.measured_in, 0.07 if log else 0.004, 6.0, *edges, 0.95, None, "run")
        rows.append((response.name, None, " × ".join(levels), contrast, *estimate, False, "", levels, 3))
    return pd.DataFrame(rows, columns=[*COLUMNS, "levels", "runs"])


def runs(asked: Brief) -> pd.DataFrame:
    """Run values: a pilot of four, a main phase of twelve with one void run and one still pending."""
    name = asked.responses[0].name
    middle = dict(zip(asked.combinations, (0.115, 0.090, 0.098, 0.069), strict=True))
    rows = []
    for at in range(16):
        phase, build = ("pilot", "PB1") if at < 4 else ("main", f"B{(at - 4) // 4 + 1}")
        combo = asked.combinations[(at * 3 + at // 4) % 4] if at >= 4 else asked.combinations[2 * (at % 2)]
        order = at + 1 if at < 4 else at - 3
        verdict = {7: "invalid", 15: "pending"}.get(at, "valid")
        value = float("nan") if at in (7, 15) else middle[combo] * (1 + 0.04 * ((at * 7) % 5 - 2))
        rows.append(
            {
                "run_id": f"P{order:02d}" if at < 4 else f"R{order:02d}",
                "phase": phase,
                "build_id": build,
                "planned_order": order,
                "actual_order": order,
                **dict(zip(asked.factor_names, combo, strict=True)),
                "verdict": verdict,
                "reason": "tripped at 62 h, oil pressure" if at == 7 else "",
                "role": "test engineer" if at == 7 else "",
                "run_time_h": 62.0 if at == 7 else 100.0,
                "sump_temp_degC": 100.2,
                name: value,
            }
        )
    return pd.DataFrame(rows)


def options(asked: Brief) -> pd.DataFrame:
    """Five plans with a claim each on every comparison, shares that add to 1."""
    rows = []
    for at, runs in enumerate((8, 12, 16, 20, 24)):
        for place, item in enumerate(asked.comparisons):
            loss = 0.32 / math.sqrt(at + 2) * (1 + place / 3)
            shares = [0.05 + 0.02 * at, 0.30 + 0.08 * at, 0.10, 0.0, 0.01, 0.005]
            shares[3] = 1 - sum(shares)
            rows.append(
                {
                    "name": f"full factorial, {runs // 4} builds",
                    "runs": runs,
                    "builds": runs // 4,
                    "hours": 141.0 * runs,
                    "cost": 15600.0 * runs,
                    "within_budget": runs < 16,
                    "response": asked.responses[0].name,
                    "comparison": item.name,
                    "term": None,
                    "contrast": "",
                    "error_stratum": "run",
                    "error_df": runs - 6.0,
                    "power": 0.3 + 0.14 * at,
                    "assurance": (0.30 + 0.15 * at) / (1 + place / 4),
                    "power_at_upper_scatter": 0.2,
                    "detectable_ratio": math.exp(-loss),
                    "detectable_change": 10 * loss,
                    "assumed_change": 26.0,
                    "worthwhile_change": 20.0,
                    "reached": at > 3,
                    "note": "",
                    **dict(zip(VERDICTS, shares, strict=True)),
                }
            )
    return pd.DataFrame(rows)


def scatter(asked: Brief) -> pd.DataFrame:
    """The sources of scatter of a small pilot."""
    lines = (
        ("pilot", "run", 0.12, 0.062, 0.75, 2.0, False),
        ("history", "run", 0.135, 0.08, 0.26, 8.0, False),
        ("blended", "run", 0.132, 0.09, 0.24, 10.0, True),
        ("pilot", "station", 0.15, 0.12, 0.2, 36.0, False),
    )
    return pd.DataFrame(
        [
            {
                "response": asked.responses[0].name,
                "source": source,
                "stratum": stratum,
                "sd": sd,
                "conf_low": low,
                "conf_high": high,
                "df": df,
                "conf_level": 0.95,
                "used": used,
                "note": "",
            }
            for source, stratum, sd, low, high, df, used in lines
        ]
    )
