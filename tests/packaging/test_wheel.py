"""The wheel: it holds what it needs, and does the whole job outside any clone."""

import sys
import zipfile
from pathlib import Path

import pytest

from tests.house.tree import ROOT, tracked
from tests.packaging.report import report_of
from toolkit import shipped
from toolkit.errors import StorageError


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
        facts = packed.read("wearbook-0.4.0.dist-info/METADATA").decode()
    shared = {name for name in tracked() if name.startswith(("templates/", "data/"))}
    assert wheel.name == "wearbook-0.4.0-py3-none-any.whl"
    assert {name.split("/")[0] for name in shared} == {"templates", "data"}
    assert {f"toolkit/_shipped/{name}" for name in shared} - held == set()
    assert {name for name in tracked() if name.startswith("toolkit/")} - held == set()
    assert {name.split("/")[0] for name in held} == {"toolkit", "wearbook-0.4.0.dist-info"}
    assert "License-Expression: BSD-3-Clause" in facts


def test_the_wheel_does_the_whole_job_outside_a_clone(wheel, on_bare_machine, empty_folder):
    on_bare_machine(
        empty_folder,
        f"python3 -m venv env && env/bin/pip install -q -c '{ROOT}/.ci/constraints.txt' '{wheel}'",
    )
    said = on_bare_machine(empty_folder, "env/bin/wearbook demo --to 'first look'")
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
