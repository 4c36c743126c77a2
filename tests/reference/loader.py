"""Reading of the reference cases, and the two ways tests compare a number with them.

A case is a folder beside this file: `case.toml` (claim, source, tolerance, checksums), `expected.csv` (key,
value and, where the source prints the number, published) and the data as csv.
"""

import csv
import math
import tomllib
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

HERE = Path(__file__).resolve().parent

KINDS = ("certified", "published", "computed", "published, from memory", "derived", "simulated")
"""From the strongest to the weakest. What was only remembered of a print ranks below what R computed."""


@dataclass(frozen=True, eq=False)
class Case:
    """One reference case: `case` is case.toml, `frames` every csv with data by its name without .csv."""

    id: str
    case: dict
    frames: dict[str, pd.DataFrame]
    values: dict[str, str]
    printed: dict[str, tuple[float, float, str]]

    @property
    def data(self) -> pd.DataFrame:
        """The rows of data.csv; a case of solved numbers alone has none."""
        return self.frames["data"]

    @property
    def tolerance(self) -> dict:
        """`rel` for every number, unless a more special key fits (`n_rel` for solved sample sizes, `abs`)."""
        return self.case["tolerance"]

    def text(self, key: str) -> str:
        """The cell of expected.csv as it stands; empty where the source says there is no value."""
        if key not in self.values:
            raise KeyError(f"{self.id}: expected.csv has no key {key!r}; it has {sorted(self.values)}")
        return self.values[key]

    def expected(self, key: str) -> float:
        """The expected number of a dotted key such as `anova.treatment.ss`."""
        cell = self.text(key)
        try:
            return float(cell)
        except ValueError:
            raise ValueError(f"{self.id}: {key} is {cell!r}, not a number; read it with text()") from None

    def published(self, key: str) -> float:
        """The number as the source prints it, in the unit of `key`."""
        if key not in self.printed:
            raise KeyError(f"{self.id}: the source prints no {key!r}; it prints {sorted(self.printed)}")
        return self.printed[key][0]

    def published_abs(self, key: str) -> float:
        """How far a right number may lie from the printed one: its last digit, as stated by the case."""
        self.published(key)
        return self.printed[key][1]

    def names(self, prefix: str) -> list[str]:
        """The names one level below a prefix, in order of the file: names("effects") -> ["T", "C", ...]."""
        start = prefix + "."
        return list(dict.fromkeys(k[len(start) :].split(".")[0] for k in self.values if k.startswith(start)))

    def table(self, prefix: str) -> pd.DataFrame:
        """An expected table, such as an ANOVA: one row a term, columns df, ss, ms, F, p (NaN: none).

        The column is what follows the last dot, so a term may hold dots itself (`partner.status`).
        """
        rows: dict[str, dict[str, float]] = {}
        start = prefix + "."
        for key in self.values:
            if key.startswith(start):
                term, column = key[len(start) :].rsplit(".", 1)
                rows.setdefault(term, {})[column] = self.expected(key)
        if not rows:
            raise KeyError(f"{self.id}: expected.csv has no key below {prefix!r}")
        return pd.DataFrame.from_dict(rows, orient="index")

    def records(self, prefix: str) -> list[dict[str, float | str]]:
        """An expected list as one dict an item: `cases.0.n`, `cases.0.h` -> [{"n": ..., "h": ...}, ...]."""
        found = []
        for index in self.names(prefix):
            record: dict[str, float | str] = {}
            for name in self.names(f"{prefix}.{index}"):
                cell = self.text(f"{prefix}.{index}.{name}")
                try:
                    record[name] = float(cell)
                except ValueError:
                    record[name] = cell
            found.append(record)
        return found


def load(case_id: str) -> Case:
    """The reference case of that name, with its numbers as text until they are asked for."""
    folder = HERE / case_id
    if not (folder / "case.toml").is_file():
        raise FileNotFoundError(f"no reference case {case_id!r}; there are {case_ids()}")
    values: dict[str, str] = {}
    printed: dict[str, tuple[float, float, str]] = {}
    with (folder / "expected.csv").open(encoding="utf-8", newline="") as file:
        for row in csv.DictReader(file):
            if row["key"] in values:
                raise ValueError(f"{case_id}: expected.csv has the key {row['key']!r} twice")
            values[row["key"]] = row["value"]
            if row.get("published"):
                printed[row["key"]] = (
                    float(row["published"]),
                    float(row["published_abs"]),
                    row["published_seen"],
                )
    frames = {p.stem: pd.read_csv(p) for p in sorted(folder.glob("*.csv")) if p.name != "expected.csv"}
    case = tomllib.loads((folder / "case.toml").read_text(encoding="utf-8"))
    return Case(case_id, case, frames, values, printed)


def case_ids() -> list[str]:
    """The names of all reference cases, sorted."""
    return sorted(path.parent.name for path in HERE.glob("*/case.toml"))


def matching_digits(found: float, expected: float) -> float:
    """Matching decimal digits of two numbers, 0 to 15: -log10(|found - expected| / |expected|).

    This is the log relative error that NIST StRD uses. An expected 0 has no relative error: there
    -log10(|found|) is taken.
    """
    if not math.isfinite(found):
        return 0.0
    error = abs(found - expected) / (abs(expected) if expected else 1.0)
    return 15.0 if error == 0 else min(15.0, max(0.0, -math.log10(error)))


def close(found: float, expected: float, case: Case, *, key: str = "rel") -> bool:
    """True when a number agrees with the case within its own tolerance.

    `key` names a more special tolerance of the case, such as "n_rel". A tolerance ending in `rel` is relative
    to the expected value (and absolute where that is 0); `abs` and those ending in `_abs` are absolute. A
    case that states `abs` and no `rel` is compared by `abs`.
    """
    tolerance = case.tolerance
    if key == "rel" and "rel" not in tolerance:
        key = "abs"
    allowed = tolerance[key]
    if key.endswith("rel") and expected:
        allowed *= abs(expected)
    return bool(abs(found - expected) <= allowed)
