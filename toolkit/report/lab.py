"""JupyterLab opened on a campaign folder, with the person's own settings as they are (rank 10)."""

from __future__ import annotations

import json
import os
import sys
import tempfile
from pathlib import Path

from toolkit.campaign import start, storage
from toolkit.campaign.folder import Campaign
from toolkit.report import programs

FIRST = "notebooks/question.ipynb"


def open_lab(campaign: Campaign, *, browser: bool | None = None, port: int | None = None) -> int:
    """Open JupyterLab on a campaign and stay until it is shut down; gives its exit code.

    The folder shown is the campaign's, so that notebooks, campaign.toml and raw/ are at hand, and the first template
    is open. Templates that are missing in notebooks/ are put there; those that lie there are left as they are. Which
    tabs were open is kept in a place that is thrown away, so that a person's own workspace stays as it was.

    Parameters
    ----------
    campaign : Campaign
    browser : bool, optional
        Open a browser. Left out: when there is a screen to open it on.
    port : int, optional
        Left out: the first free one from JupyterLab's own on.

    Raises
    ------
    StorageError
        When the folder cannot be written.
    """
    with storage.locked(campaign.folder):
        start.complete_notebooks(campaign.folder)
    with tempfile.TemporaryDirectory(prefix="wearbook-lab-") as scratch:
        words = command(campaign, Path(scratch), browser=_screen() if browser is None else browser, port=port)
        # A kernel starts in the folder of its notebook; one linear-algebra thread each, as headless.
        environment = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", **_quiet(Path(scratch) / "config")}
        # Notebooks name commands; a terminal of JupyterLab finds them, though nobody activated the environment.
        places = [str(Path(sys.executable).parent), os.environ.get("PATH", os.defpath)]
        environment["PATH"] = os.pathsep.join(places)
        return programs.stay(words, folder=str(campaign.folder), environment=environment)


def _quiet(config: Path) -> dict[str, str]:
    """JupyterLab without its question about news and without looking for a newer one: test cells have no way out.

    It is one more folder of settings, read beside the person's own.
    """
    told = {"disabledExtensions": {"@jupyterlab/apputils-extension:announcements": True}}
    storage.write_text(config / "labconfig" / "page_config.json", json.dumps(told))
    return {"JUPYTER_CONFIG_PATH": os.pathsep.join(filter(None, [str(config), os.environ.get("JUPYTER_CONFIG_PATH")]))}


def command(campaign: Campaign, scratch: Path, *, browser: bool, port: int | None) -> list[str]:
    """The words that start JupyterLab on a campaign."""
    words = [
        sys.executable,
        "-m",
        "jupyterlab",
        f"--ServerApp.root_dir={campaign.folder.resolve()}",
        f"--LabApp.default_url=/lab/tree/{FIRST}",
        f"--LabApp.workspaces_dir={scratch}",
    ]
    words += [] if browser else ["--no-browser"]
    words += [] if port is None else [f"--ServerApp.port={port}", "--ServerApp.port_retries=0"]
    # In a container people are often root, and JupyterLab would refuse them.
    return words + (["--allow-root"] if hasattr(os, "geteuid") and os.geteuid() == 0 else [])


def _screen() -> bool:
    """Whether there is a screen that a browser could open on."""
    if sys.platform in ("win32", "darwin"):
        return True
    return any(os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY"))
