"""The wheel: it holds what it needs, and does the whole job outside any clone."""

import sys
import tomllib
import zipfile
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from tests.house.tree import ROOT, tracked
from tests.packaging.report import report_of
from toolkit import shipped
from toolkit.errors import StorageError
from toolkit.report.notebooks import TEMPLATES

# The first command of README.md goes through the demo from the same bytes, as the test of what the wheel holds shows;
# here what the wheel finds elsewhere is found: data, templates, a kernel for one of them, and the verbs up to a report.
JOB = """
from pathlib import Path
from toolkit.campaign import start
from toolkit.cli import main
from toolkit.demo import bundled
from toolkit.report import notebooks

place = Path("first look")
bundled.bring("chain-soot", place, phases=("pilot", "main"))
start.bring_notebooks(place)
notebooks.run_template("question", place)
for words in (["plan", "--phase", "main"], ["sheets", "--phase", "main"], ["report"]):
    verb, *more = words
    assert main([verb, str(place), *more]) == 0, verb
"""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory, on_bare_machine) -> Path:
    """The wheel, built from the files that are kept, as a release is."""
    place = tmp_path_factory.mktemp("wheel")
    on_bare_machine(place, f"git clone -q '{ROOT}' clone")
    # The back end is installed in the environment of the tests: nothing need be fetched.
    on_bare_machine(place, f"'{sys.executable}' -m pip wheel -q --no-build-isolation --no-deps -w . ./clone")
    (built,) = place.glob("*.whl")
    return built


def test_the_wheel_holds_what_comes_with_it(wheel):
    with zipfile.ZipFile(wheel) as packed:
        held = set(packed.namelist())
        facts = packed.read("wearbook-0.5.0.dist-info/METADATA").decode()
        content = {name: packed.read(name) for name in held}
    shared = {name for name in tracked() if name.startswith(("templates/", "data/"))}
    assert wheel.name == "wearbook-0.5.0-py3-none-any.whl"
    assert {name.split("/")[0] for name in shared} == {"templates", "data"}
    assert {f"toolkit/_shipped/{name}" for name in shared} - held == set()
    assert {name for name in tracked() if name.startswith("toolkit/")} - held == set()
    assert {name.split("/")[0] for name in held} == {"toolkit", "wearbook-0.5.0.dist-info"}
    # What the tests say of the clone they say of the wheel: it holds the same bytes.
    clone = wheel.parent / "clone"
    ours = [name for name in held if name.startswith("toolkit/")]
    there = {name: (clone / name.removeprefix("toolkit/_shipped/")).read_bytes() for name in ours}
    assert [name for name in ours if content[name] != there[name]] == []
    assert "License-Expression: BSD-3-Clause" in facts


@pytest.fixture(scope="module")
def unpacked(wheel, on_bare_machine, tmp_path_factory) -> Path:
    """The folder that the wheel is installed in, alone: the first command of README.md installs what it depends on."""
    place = tmp_path_factory.mktemp("unpacked")
    on_bare_machine(place, f"'{sys.executable}' -m pip install -q --no-deps --no-index --target here '{wheel}'")
    return place / "here"


def test_the_wheel_depends_on_what_the_clone_depends_on(unpacked):
    # So that an installation of the clone, which a test of its own makes, shows that these are enough.
    (held,) = metadata.distributions(name="wearbook", path=[str(unpacked)])
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    told = [Requirement(text) for text in held.requires or ()]
    assert {item for item in told if item.marker is None} == {Requirement(text) for text in project["dependencies"]}
    extras = {
        Requirement(f"{text}; extra == '{extra}'")
        for extra, texts in project["optional-dependencies"].items()
        for text in texts
    }
    assert {item for item in told if item.marker is not None} == extras
    assert held.metadata["Requires-Python"] == project["requires-python"]


def test_what_an_index_shows_of_the_wheel_is_the_readme(unpacked):
    # What checkers of distributions ask for; they were run by hand and found nothing else.
    (held,) = metadata.distributions(name="wearbook", path=[str(unpacked)])
    facts = held.metadata
    assert facts.get_payload() == (ROOT / "README.md").read_text(encoding="utf-8")
    assert facts["Description-Content-Type"] == "text/markdown"
    assert (facts["Author"], facts["License-Expression"]) == ("The Wearbook developers", "BSD-3-Clause")
    assert len(facts["Summary"]) < 120 and facts["Keywords"]
    known = facts.get_all("Classifier")
    # The licence is told by its expression alone, and Python has no upper bound.
    assert [text for text in known if text.startswith("License")] == []
    assert "<" not in facts["Requires-Python"]


def test_the_wheel_does_the_whole_job_outside_a_clone(unpacked, on_bare_machine, empty_folder):
    asked = "from toolkit import shipped; print(shipped.__file__, shipped.folder('data'), shipped.folder('templates'))"
    seen = on_bare_machine(empty_folder, f"PYTHONPATH='{unpacked}' '{sys.executable}' -c \"{asked}\"")
    places = ("toolkit/shipped.py", "toolkit/_shipped/data", "toolkit/_shipped/templates")
    assert seen.split() == [str(unpacked / place) for place in places]
    # The command of the wheel, whose first line names the Python of the tests.
    version = on_bare_machine(empty_folder, f"PYTHONPATH='{unpacked}' '{unpacked}/bin/wearbook' --version")
    assert version == "wearbook 0.5.0\n"
    (empty_folder / "job.py").write_text(JOB, encoding="utf-8")
    said = on_bare_machine(empty_folder, f"PYTHONPATH='{unpacked}' '{sys.executable}' job.py")
    brought = {path.stem for path in (empty_folder / "first look" / "notebooks").iterdir()}
    assert brought == set(TEMPLATES)
    made = {path.name for path in (empty_folder / "first look" / "derived" / "notebooks").iterdir()}
    assert made == {"question.ipynb"}
    report = report_of(said, empty_folder)
    assert report.is_relative_to(empty_folder / "first look")
    assert "INVENTED" in report.read_text(encoding="utf-8")


def test_a_clone_is_read_in_place():
    assert shipped.folder("templates") == ROOT / "templates"
    assert shipped.folder("data") == ROOT / "data"


def test_the_copy_of_a_wheel_comes_first(tmp_path, monkeypatch):
    (tmp_path / "toolkit/_shipped/data").mkdir(parents=True)
    (tmp_path / "data").mkdir()
    (tmp_path / "templates").mkdir()
    monkeypatch.setattr(shipped, "_PACKAGE", tmp_path / "toolkit")
    assert shipped.folder("data") == tmp_path / "toolkit/_shipped/data"
    assert shipped.folder("templates") == tmp_path / "templates"


def test_a_folder_that_is_missing_is_told(tmp_path, monkeypatch):
    monkeypatch.setattr(shipped, "_PACKAGE", tmp_path / "toolkit")
    with pytest.raises(StorageError) as told:
        shipped.folder("data")
    assert str(told.value) == (
        f"The folder 'data' that comes with Wearbook is missing; looked for {tmp_path}/toolkit/_shipped/data"
        f" and {tmp_path}/data. Install Wearbook again, from a complete clone or wheel."
    )
