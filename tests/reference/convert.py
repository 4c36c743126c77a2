"""Make the reference cases of this folder from a folder of R results and from the NIST files.

    python tests/reference/convert.py SOURCE [--nist FOLDER] [--to FOLDER]

SOURCE holds one folder a case with `expected.json` and csv files, and `scripts/` with the R scripts that
made them. The NIST StRD files are read from the scipy wheel unless --nist names another folder. `about.toml`
beside this file says which cases are made and what the numbers alone do not tell (print, licence, units).
For each case it writes

    case.toml      what is claimed, where it comes from, how far to trust it, checksums
    expected.csv   key, value and, where the source prints the number, published and the width it allows
    *.csv          the data, byte for byte as received

`covers` in an existing case.toml is kept: it is written by hand. Nothing is written when a case has a fault.
"""

import argparse
import csv
import hashlib
import io
import json
import math
import re
import sys
import tomllib
from decimal import Decimal
from pathlib import Path

import nist_strd

HERE = Path(__file__).resolve().parent
FAMILIES = {
    1: "one-way analysis of variance",
    2: "replicated factorial",
    3: "blocked",
    4: "unbalanced factorial",
    5: "unreplicated two-level",
    6: "response surface",
    7: "split-plot",
    8: "variance components",
    9: "power and sample size",
    10: "comparisons judged together",
    11: "covariates and checks",
    12: "charts and gauge studies",
    13: "properties of designs",
}
MACHINE_PATH = re.compile(
    r"""(?<![\w.)/])["'(]?(/(?:home|root|tmp|usr|opt|var|work|mnt|Users)/|[A-Za-z]:\\)"""
)


class Fault(Exception):
    """One thing that keeps a case from being made."""


def sha256(data: bytes) -> str:
    """Checksum of some bytes as 64 hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def flatten(value: object, path: str = "") -> list[tuple[str, str]]:
    """Rows (dotted key, text) of a nested JSON value; list items get their index, null an empty cell."""
    if isinstance(value, dict):
        items = list(value.items())
    elif isinstance(value, list):
        items = list(enumerate(value))
    elif value is None:
        return [(path, "")]
    elif isinstance(value, bool):
        return [(path, "true" if value else "false")]
    elif isinstance(value, int | float):
        return [(path, repr(value))]
    else:
        return [(path, str(value))]
    return [row for key, item in items for row in flatten(item, f"{path}.{key}" if path else str(key))]


def published_rows(
    expected: dict[str, str], printed: dict, width: dict, mapping: dict
) -> dict[str, list[str]]:
    """For each key of expected.csv that the source prints: printed value, its tolerance and how it was seen.

    A rounded-up entry gets a row of its own, `<key>.rounded_up`, and so does the square root of a variance
    where the source prints the SD, `<key>.root`. Printed conclusions on an interval are checked and have no row.
    Raises Fault when a printed value has no key or does not agree with the computed one within the width the source
    allows.
    """
    printed = dict(flatten(printed))
    if set(printed) != set(mapping):
        raise Fault(f"printed values {sorted(printed)} and their keys in about.toml {sorted(mapping)} differ")
    rows = {}
    for name, value in printed.items():
        rule = mapping[name]
        if "inside" in rule or "outside" in rule:
            # A printed conclusion on an interval: what lies in it, or does not. It has no cell of its own.
            where = rule.get("inside") or rule["outside"]
            low, high = (float(expected[f"{where}.{end}"]) for end in (0, 1))
            if (low < float(value) < high) != ("inside" in rule):
                raise Fault(f"printed conclusion {name} = {value} and {where} = {low} to {high} differ")
            continue
        key, scale, abs_width = rule["key"], rule.get("scale", 1.0), width["abs"]
        if key not in expected:
            raise Fault(f"printed value {name} points at {key}, which expected.json does not hold")
        if rule.get("round") == "up":
            rounded = f"{key}.rounded_up"
            expected[rounded] = repr(math.ceil(float(expected[key])))
            key, abs_width = rounded, 0
        if rule.get("root"):
            root = f"{key}.root"
            expected[root] = repr(math.sqrt(float(expected[key])))
            key = root
        # the scale goes through Decimal, so that 1033 x 0.001 is 1.033 and not 1.0330000000000001
        shown = float(Decimal(str(value)) * Decimal(str(scale)))
        allowed = abs(float(abs_width) * scale)
        if not abs(float(expected[key]) - shown) <= allowed:
            raise Fault(
                f"printed value {name} = {shown} and {key} = {expected[key]} differ by more than {allowed}"
            )
        rows[key] = [repr(shown), repr(allowed), "read" if rule.get("read") else "memory"]
    return rows


def expected_csv(expected: dict[str, str], published: dict[str, list[str]]) -> bytes:
    """The bytes of expected.csv; the published columns are there only when a value is printed."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    head = ["key", "value"]
    writer.writerow([*head, "published", "published_abs", "published_seen"] if published else head)
    for key, value in expected.items():
        writer.writerow([key, value, *(published.get(key, ["", "", ""]) if published else [])])
    return out.getvalue().encode()


def toml_value(value: object) -> str:
    """One value as TOML; text in double quotes, tables inline."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, list):
        return "[" + ", ".join(toml_value(v) for v in value) + "]"
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{json.dumps(k)} = {toml_value(v)}" for k, v in value.items()) + " }"
    return json.dumps(value, ensure_ascii=False)


def case_toml(case: dict) -> bytes:
    """The bytes of case.toml: plain keys first, then one table for each dict."""
    plain = [f"{k} = {toml_value(v)}" for k, v in case.items() if not isinstance(v, dict)]
    for name, table in case.items():
        if isinstance(table, dict):
            plain += ["", f"[{name}]"] + [f"{json.dumps(k)} = {toml_value(v)}" for k, v in table.items()]
    return ("\n".join(plain) + "\n").encode()


def kind_of(origin: str, words: str) -> str:
    """How strong a case is; a remembered print is kept apart from one that was read."""
    if origin == "published":
        return "published, from memory" if re.search(r"from memory|remembered", words) else "published"
    if origin == "computed with R":
        return "computed"
    raise Fault(f"origin {origin!r} is neither 'published' nor 'computed with R'")


def json_parts(
    folder: Path, about: dict
) -> tuple[dict, dict[str, bytes], dict[str, str], dict[str, list[str]]]:
    """Facts, csv files, expected values and printed values of one case given as expected.json."""
    found = json.loads((folder / "expected.json").read_text(encoding="utf-8"))
    expected = dict(flatten(found["expected"]))
    printed = published_rows(
        expected,
        found.get("published_values", {}),
        found.get("published_tolerance", {}),
        about.get("published", {}),
    )
    words = found["source"] + " " + found["notes"]
    packages = dict(re.findall(r"\b(MASS|car|carData|pwr) (\d[\w.]*)", found["source"]))
    facts = {
        "claim": found["question"],
        "kind": about.get("kind") or kind_of(found["origin"], words),
        "source": found["source"],
        "locator": about["locator"],
        "print": about["print"],
        "origin": found["origin"],
        "carrier": about["carrier"],
        "licence": about["licence"],
        "notes": found["notes"],
        "verified": found["verified"],
        "tolerance": found["tolerance"],
        "published_tolerance": found.get("published_tolerance", {}),
    }
    if "script" in about:
        facts["computed"] = {"software": "R 4.2.2", "packages": packages, "script": about["script"]}
    else:
        # Facts of a design, counted from its runs: no script made them.
        facts["made_from"] = {"file": "expected.json", "sha256": sha256((folder / "expected.json").read_bytes())}
    files = {path.name: path.read_bytes() for path in sorted(folder.glob("*.csv"))}
    return facts, files, expected, printed


def old_covers(folder: Path) -> list[str]:
    """`covers` of a case made before, or none."""
    path = folder / "case.toml"
    return tomllib.loads(path.read_text(encoding="utf-8"))["covers"] if path.exists() else []


def make_case(
    case_id: str, about: dict, source: Path, nist: Path, scripts: dict[str, bytes], old: Path
) -> dict:
    """All files of one case folder as {name: bytes}."""
    printed: dict[str, list[str]] = {}
    if "strd" in about:
        path = nist / f"{about['strd']}.dat"
        facts, files, expected = nist_strd.parse(about["strd"], path.read_bytes().decode("ascii"))
        other = source / case_id
        if other.is_dir():
            known = dict(
                flatten(json.loads((other / "expected.json").read_text(encoding="utf-8"))["expected"])
            )
            wrong = [k for k, v in known.items() if float(v) != float(expected[k])]
            if wrong or (other / "data.csv").read_bytes() != files["data.csv"]:
                raise Fault(f"the NIST file and {case_id} of the source folder differ: {wrong or 'data.csv'}")
    else:
        facts, files, expected, printed = json_parts(source / case_id, about)
        for part in ("script", "helper") if "computed" in facts else ():
            name = facts["computed"].setdefault(part, "lib.R")
            facts["computed"][part] = f"scripts/{name}"
            facts["computed"][f"{part}_sha256"] = sha256(scripts[name])
    files["expected.csv"] = expected_csv(expected, printed)
    head = {"id": case_id, "claim": facts.pop("claim"), "kind": facts.pop("kind"), "family": about["family"]}
    head |= {"family_name": FAMILIES[about["family"]], "invented": about.get("invented", False)}
    plain = {k: v for k, v in facts.items() if not isinstance(v, dict)}
    tables = {"units": about.get("units", {})} | {k: v for k, v in facts.items() if isinstance(v, dict)}
    covers = {"covers": old_covers(old / case_id)}
    hashes = {"sha256": {name: sha256(data) for name, data in sorted(files.items())}}
    files["case.toml"] = case_toml(head | plain | covers | tables | hashes)
    return files


def main() -> int:
    """Make all cases, or say every fault and write nothing."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("source", type=Path, help="folder with one folder a case and scripts/")
    parser.add_argument(
        "--nist", type=Path, help="folder with the NIST StRD .dat files (default: inside scipy)"
    )
    parser.add_argument(
        "--to", type=Path, default=HERE, help="where the case folders go (default: beside this file)"
    )
    args = parser.parse_args()
    if args.nist is None:
        import scipy

        args.nist = Path(scipy.__file__).parent / "stats" / "tests" / "data" / "nist_anova"
    about = tomllib.loads((HERE / "about.toml").read_text(encoding="utf-8"))
    names = sorted({"lib.R"} | {a["script"] for a in about.values() if "script" in a})
    scripts = {name: (args.source / "scripts" / name).read_bytes() for name in names}
    faults = [
        f"{n}: holds a path of one machine"
        for n, data in scripts.items()
        if MACHINE_PATH.search(data.decode())
    ]
    cases = {}
    for case_id, entry in about.items():
        try:
            cases[case_id] = make_case(case_id, entry, args.source, args.nist, scripts, args.to)
        except (Fault, OSError, KeyError, ValueError) as fault:
            faults.append(f"{case_id}: {type(fault).__name__}: {fault}")
    if faults:
        print("\n".join(faults), file=sys.stderr)
        return 1
    for folder, files in [*cases.items(), ("scripts", scripts)]:
        (args.to / folder).mkdir(parents=True, exist_ok=True)
        for name, data in files.items():
            (args.to / folder / name).write_bytes(data)
    print(f"{len(cases)} cases and {len(scripts)} scripts written")
    return 0


if __name__ == "__main__":
    sys.exit(main())
