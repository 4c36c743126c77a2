"""A bare machine, as far as one can be had inside this one: an empty HOME, nothing of this Python."""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

Run = Callable[[Path, str], str]
OURS = ("PYTEST", "PYTHON", "WEARBOOK", "VIRTUAL_ENV", "MPL", "JUPYTER", "IPYTHON", "XDG_")


@pytest.fixture(scope="session")
def on_bare_machine(tmp_path_factory) -> Iterator[Run]:
    """Run a shell line in a folder of the bare machine and give its stdout; fail with all it said."""
    place = tmp_path_factory.mktemp("bare")
    (place / "home").mkdir()
    own = str(Path(sys.executable).parent)
    env = {name: value for name, value in os.environ.items() if not name.startswith(OURS)}
    env |= {
        "HOME": str(place / "home"),
        "PATH": os.pathsep.join(part for part in env["PATH"].split(os.pathsep) if part != own),
        # What one installation fetches the next need not fetch again.
        "PIP_CACHE_DIR": str(place / "cache"),
        # Python translates the modules that are imported; pip would translate all of them, which takes a minute. The
        # word turns it off by the name of pip's option, however odd it reads.
        "PIP_NO_COMPILE": "no",
    }

    def run(folder: Path, line: str) -> str:
        """Run the line with bash, without standard input."""
        ended = subprocess.run(
            ["bash", "-c", line],
            cwd=folder,
            env=env,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            timeout=900,
        )
        if ended.returncode:
            pytest.fail(
                f"{line}\nended with {ended.returncode}\n{ended.stdout}\n{ended.stderr}", pytrace=False
            )
        return ended.stdout

    yield run
    shutil.rmtree(place)


@pytest.fixture
def empty_folder(tmp_path: Path) -> Iterator[Path]:
    """A folder that is taken away again: an environment fills most of a gigabyte."""
    yield tmp_path
    shutil.rmtree(tmp_path)
