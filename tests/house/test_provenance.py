"""Every number we are checked against says where it comes from, is unchanged, and is used.

The reference cases are the folders of tests/reference that hold a case.toml.
"""

import ast
import hashlib
import tomllib
from functools import cache
from pathlib import Path

from tests.reference.loader import HERE as REFERENCE
from tests.reference.loader import KINDS, case_ids, load

ROOT = Path(__file__).resolve().parents[2]
CHECKED_PACKAGES = ("numeric", "design", "size", "model")
TEXTS = (
    "claim",
    "kind",
    "family_name",
    "source",
    "locator",
    "print",
    "origin",
    "carrier",
    "licence",
    "verified",
)
MAY_BE_EMPTY = {"notes": str, "units": dict, "covers": list}


@cache
def syntax(path: Path) -> ast.Module:
    """The syntax tree of one source file."""
    return ast.parse(path.read_text(encoding="utf-8"))


def checksum(path: Path) -> str:
    """SHA-256 of a file as 64 hexadecimal digits."""
    return hashlib.sha256(path.read_bytes()).hexdigest()


def reference_tests() -> list[Path]:
    """The test files beside the reference cases, without the one that tests the loader itself."""
    return sorted(p for p in REFERENCE.glob("test_*.py") if p.name != "test_loader.py")


def strings_of(path: Path) -> set[str]:
    """Every text constant of a source file: a case named in a comment does not count as read."""
    constants = (node for node in ast.walk(syntax(path)) if isinstance(node, ast.Constant))
    return {node.value for node in constants if isinstance(node.value, str)}


def imported(path: Path) -> dict[str, str]:
    """What each name that a source file imports stands for, as a dotted name."""
    names = {}
    for node in ast.walk(syntax(path)):
        if isinstance(node, ast.ImportFrom) and node.module:
            names |= {alias.asname or alias.name: f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            names |= {alias.asname: alias.name for alias in node.names if alias.asname}
            names |= {alias.name.split(".")[0]: alias.name.split(".")[0] for alias in node.names}
    return names


def home_of(name: str) -> str:
    """The module-level dotted name behind one that a package's __init__ passes on."""
    package, _, last = name.rpartition(".")
    init = ROOT.joinpath(*package.split("."), "__init__.py")
    return imported(init).get(last, name) if init.is_file() else name


@cache
def used_by(path: Path) -> frozenset[str]:
    """Dotted names of all of the toolkit that a test file imports or reaches through its imports."""
    names, found = imported(path), set()
    for node in ast.walk(syntax(path)):
        tail = []
        while isinstance(node, ast.Attribute):
            tail.insert(0, node.attr)
            node = node.value
        if isinstance(node, ast.Name) and node.id in names:
            found.add(home_of(".".join([names[node.id], *tail])))
    return frozenset(name for name in found if name.startswith("toolkit."))


def public_functions() -> set[str]:
    """Dotted names of all public functions at the top level of the modules whose numbers people act on."""
    found = set()
    for package in CHECKED_PACKAGES:
        for path in sorted((ROOT / "toolkit" / package).rglob("*.py")):
            parts = path.relative_to(ROOT).with_suffix("").parts
            if any(part.startswith("_") and part != "__init__" for part in parts):
                continue
            module = ".".join(part for part in parts if part != "__init__")
            functions = (
                n for n in syntax(path).body if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)
            )
            found |= {f"{module}.{n.name}" for n in functions if not n.name.startswith("_")}
    return found


def covered_elsewhere() -> dict[str, dict]:
    """The functions that covered.toml answers for, with their tests."""
    return tomllib.loads((REFERENCE / "covered.toml").read_text(encoding="utf-8"))


def node_exists(node_id: str) -> bool:
    """True when `path::name` (or `path::Class::name`) names a test function that stands in that file."""
    path, *names = node_id.split("[")[0].split("::")
    if not names or not names[-1].startswith("test") or not (ROOT / path).is_file():
        return False
    body = syntax(ROOT / path).body
    for name in names:
        match = [n for n in body if isinstance(n, ast.FunctionDef | ast.ClassDef) and n.name == name]
        if not match:
            return False
        body = match[0].body
    return True


def faults_of_case(case_id: str) -> list[str]:
    """Everything that is missing from, or wrong in, one case folder."""
    read = load(case_id)
    case, folder = read.case, REFERENCE / case_id
    faults = [f"no {key}" for key in TEXTS if not (isinstance(case.get(key), str) and case[key].strip())]
    faults += [f"no {key}" for key, kind in MAY_BE_EMPTY.items() if not isinstance(case.get(key), kind)]
    if case.get("id") != case_id:
        faults.append(f"id is {case.get('id')!r}")
    if case.get("kind") not in KINDS:
        faults.append(f"kind {case.get('kind')!r} is none of {KINDS}")
    if case.get("family") not in range(1, 14):
        faults.append(f"family {case.get('family')!r} is not 1 to 13")
    if not isinstance(case.get("invented"), bool):
        faults.append("invented is neither true nor false")
    elif case["invented"] and "INVENTED" not in case.get("print", ""):
        faults.append("invented numbers are not marked INVENTED in print")
    if not {"rel", "abs"} & set(case.get("tolerance", {})):
        faults.append("tolerance has neither rel nor abs")
    if not read.values:
        faults.append("expected.csv is empty")
    seen = {how for _, _, how in read.printed.values()}
    if read.printed and not case.get("published_tolerance"):
        faults.append("printed values without published_tolerance")
    if case.get("kind", "").startswith("published") and not read.printed:
        faults.append("said to be published, but no printed value in expected.csv")
    if case.get("kind") == "published" and "read" not in seen:
        faults.append("said to be published, but every printed value is from memory")
    if case.get("kind") == "certified" and not {"file", "sha256"} <= set(case.get("made_from", {})):
        faults.append("certified, but [made_from] does not name the file and its checksum")
    if case.get("kind") in ("computed", "published, from memory") and not case.get("computed", {}).get(
        "software"
    ):
        faults.append("[computed] names no software")
    files = {p.name for p in folder.iterdir()} - {"case.toml"}
    if files != set(case.get("sha256", {})):
        faults.append(f"files {sorted(files)}, but checksums of {sorted(case.get('sha256', {}))}")
    return faults


def test_every_case_is_complete() -> None:
    """No case without claim, source, place in it, carrier, licence, tolerance and checksums."""
    faults = [f"{case_id}: {fault}" for case_id in case_ids() for fault in faults_of_case(case_id)]
    assert not faults, "\n".join(faults)
    assert len(case_ids()) >= 31


def test_every_file_of_every_case_is_unchanged() -> None:
    """Data, expected values and the scripts that computed them have the bytes that case.toml states."""
    changed = []
    for case_id in case_ids():
        case = load(case_id).case
        stated = {REFERENCE / case_id / name: value for name, value in case["sha256"].items()}
        for part in ("script", "helper"):
            if part in case.get("computed", {}):
                stated[REFERENCE / case["computed"][part]] = case["computed"][f"{part}_sha256"]
        changed += [
            f"{case_id}: {path.name} is not what case.toml was written for; run convert.py on its source"
            for path, value in stated.items()
            if not path.is_file() or checksum(path) != value
        ]
    assert not changed, "\n".join(changed)


def test_nothing_lies_beside_the_cases_without_a_case() -> None:
    """Every folder is a case or holds scripts, and every script made some case."""
    folders = {p.name for p in REFERENCE.iterdir() if p.is_dir() and p.name != "__pycache__"}
    assert folders - {"scripts"} == set(case_ids())
    used = {load(c).case.get("computed", {}).get(part) for c in case_ids() for part in ("script", "helper")}
    assert {f"scripts/{p.name}" for p in (REFERENCE / "scripts").iterdir()} == used - {None}
    about = tomllib.loads((REFERENCE / "about.toml").read_text(encoding="utf-8"))
    made_by_hand = {
        c for c in case_ids() if "made_from" not in load(c).case and "computed" not in load(c).case
    }
    assert set(about) == set(case_ids()) - made_by_hand


def test_every_case_is_read_by_a_test() -> None:
    """A case that no test in tests/reference names is an orphan: it shows nothing."""
    named = set().union(*(strings_of(path) for path in reference_tests()))
    orphans = [case_id for case_id in case_ids() if case_id not in named]
    assert not orphans, f"no test in tests/reference names these cases: {orphans}"


def test_every_family_has_a_case_from_outside() -> None:
    """Each family of methods in use is checked against a certified or a published case.

    Where the print was only remembered, the case counts because R computed the same numbers from the same
    data and the converter refused any printed value that did not agree.
    """
    strong: dict[int, list[str]] = {1: [], 2: [], 3: [], 4: [], 9: []}
    for case_id in case_ids():
        case = load(case_id).case
        counts = case["kind"] in ("certified", "published") or (
            case["kind"] == "published, from memory"
            and case.get("computed", {}).get("software", "").startswith("R ")
        )
        if counts and case["family"] in strong:
            strong[case["family"]].append(case_id)
    assert not [family for family, found in strong.items() if not found]


def test_what_is_said_to_be_covered_exists() -> None:
    """`covers` and covered.toml name functions and tests that are there, and the test uses the function."""
    functions, faults = public_functions(), []
    for case_id in case_ids():
        readers = [path for path in reference_tests() if case_id in strings_of(path)]
        for name in load(case_id).case["covers"]:
            if name not in functions:
                faults.append(f"{case_id} covers {name}, which is no public function")
            elif not any(name in used_by(path) for path in readers):
                faults.append(f"{case_id} covers {name}, but no test that reads the case uses it")
    for name, entry in covered_elsewhere().items():
        if name not in functions:
            faults.append(f"covered.toml: {name} is no public function")
        if entry.get("kind") not in ("derived", "simulated", "published"):
            faults.append(f"covered.toml: {name}: kind {entry.get('kind')!r}")
        tests = entry.get("tests", [])
        faults += [f"covered.toml: {name}: no test {node}" for node in tests if not node_exists(node)]
        there = [ROOT / node.split("::")[0] for node in tests if node_exists(node)]
        if not any(name in used_by(path) for path in there):
            faults.append(f"covered.toml: {name}: none of its test files uses it")
    assert not faults, "\n".join(faults)


def test_every_public_function_is_covered() -> None:
    """Public functions of numeric, design, size and model stand in some `covers` or in covered.toml."""
    covered = {name for case_id in case_ids() for name in load(case_id).case["covers"]} | set(
        covered_elsewhere()
    )
    missing = sorted(public_functions() - covered)
    idle = [case_id for case_id in case_ids() if not load(case_id).case["covers"]]
    assert not missing, "no reference case and no entry in covered.toml for:\n" + "\n".join(missing)
    assert not idle, f"cases that cover no function: {idle}"
