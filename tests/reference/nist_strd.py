"""One NIST StRD analysis-of-variance file: certified values, data, and the same sums without any rounding."""

import hashlib
import math
import re
from fractions import Fraction

# float64 loses the digits that are the same in every value; these tolerances allow for that
REL = {"Lower": 1e-10, "Average": 1e-7, "Higher": 1e-3}


def exact_oneway(groups: list[list[Fraction]]) -> dict[str, Fraction]:
    """Sums of squares, F and R-squared of a one-way layout without any rounding (textbook definitions)."""
    values = [y for group in groups for y in group]
    grand = sum(values) / len(values)
    means = [sum(group) / len(group) for group in groups]
    between = sum(len(g) * (m - grand) ** 2 for g, m in zip(groups, means, strict=True))
    within = sum((y - m) ** 2 for g, m in zip(groups, means, strict=True) for y in g)
    f = (between / (len(groups) - 1)) / (within / (len(values) - len(groups)))
    return {"ss_between": between, "ss_within": within, "F": f, "r_squared": between / (between + within)}


def exact_digits(found: Fraction, certified: str) -> float:
    """Matching digits of an exact number and a certified one: -log10 of the relative error, at most 15."""
    exact = Fraction(certified)
    error = abs(found - exact) / abs(exact)
    return 15.0 if error == 0 else min(15.0, -math.log10(error))


def parse(name: str, text: str) -> tuple[dict, dict[str, bytes], dict[str, str]]:
    """Facts for case.toml, the csv files and the certified values of one file.

    Raises ValueError when the certified values do not follow from the decimals of the file.
    """
    lines = text.splitlines()
    first, last = (int(n) for n in re.search(r"Data +\(lines (\d+) to (\d+)\)", text).groups())
    rows = [line.split() for line in lines[first - 1 : last]]
    between = next(line for line in lines if line.startswith("Between")).split()[2:]
    within = next(line for line in lines if line.startswith("Within")).split()[2:]
    certified = dict(zip(["df_between", "ss_between", "ms_between", "F"], between, strict=True))
    certified |= dict(zip(["df_within", "ss_within", "ms_within"], within, strict=True))
    certified["r_squared"] = re.search(r"Certified R-Squared +(\S+)", text)[1]
    certified["residual_sd"] = re.search(r"Standard Deviation +(\S+)", text)[1]

    levels = list(dict.fromkeys(group for group, _ in rows))
    exact = exact_oneway([[Fraction(y) for g, y in rows if g == level] for level in levels])
    poor = {k: d for k, v in exact.items() if (d := exact_digits(v, certified[k])) < 14}
    if poor:
        raise ValueError(f"certified values do not follow from the decimals of the file: digits {poor}")
    as_float = exact_oneway([[Fraction(float(y)) for g, y in rows if g == level] for level in levels])
    difficulty = re.search(r"(\w+) Level of Difficulty", text)[1]
    reference = re.search(r"Reference: +(.+?)\n\s*\n", text, flags=re.S)[1]
    facts = {
        "claim": "One-way ANOVA of y on group: F, df, sums of squares, mean squares, R-squared, residual SD.",
        "kind": "certified",
        "source": f"NIST StRD, Analysis of Variance, data set {name}; {' '.join(reference.split())}",
        "locator": f"{name}.dat: certified values lines 41 ff., data lines {first} to {last}",
        "print": "the file itself",
        "origin": "certified by NIST to 15 digits",
        "carrier": f"scipy wheel, scipy/stats/tests/data/nist_anova/{name}.dat",
        "licence": "US government work, not subject to copyright in the United States",
        "notes": f"{difficulty} level of difficulty. [digits] is what float64 input allows: exact arithmetic "
        "on the values as float64, compared with the certified ones. No program that reads the data as "
        "float64 can promise more.",
        "verified": "recomputed without rounding from the decimals of the file: 14 digits or more",
        "tolerance": {"rel": REL[difficulty]},
        "digits": {key: round(exact_digits(value, certified[key]), 1) for key, value in as_float.items()},
        "made_from": {"file": f"{name}.dat", "sha256": hashlib.sha256(text.encode()).hexdigest()},
    }
    data = "group,y\n" + "".join(f"{group},{y}\n" for group, y in rows)
    values = {k: repr(int(v)) if k.startswith("df") else repr(float(v)) for k, v in certified.items()}
    return facts, {"data.csv": data.encode()}, values
