"""Runs the guide again and stores each notebook as it ran: ``python -m tests.notebooks.store [NAME ...]``.

Afterwards read the difference: only pictures and tables that were meant to change may have changed.
"""

import sys
from pathlib import Path

import nbformat

GUIDE = Path(__file__).resolve().parents[2] / "notebooks"


def executed(path: Path, *, cwd: Path, timeout_s: int = 300) -> nbformat.NotebookNode:
    """The notebook after a run in a fresh kernel with that working directory, as by hand in JupyterLab."""
    from nbclient import NotebookClient

    notebook = nbformat.read(path, as_version=4)
    client = NotebookClient(
        notebook,
        timeout=timeout_s,
        startup_timeout=120,
        kernel_name="python3",
        resources={"metadata": {"path": str(cwd)}},
        record_timing=False,
    )
    return client.execute()


def stored(path: Path) -> str:
    """The notebook as it ran, as text, without what differs from one machine to the next."""
    notebook = executed(path, cwd=path.parent)
    notebook.metadata = {
        "kernelspec": {"display_name": "Python 3", "language": "python", "name": "python3"},
        "language_info": {"name": "python"},
    }
    return nbformat.writes(notebook)


def main(names: list[str]) -> None:
    """Run and store the notebooks of these names, or all."""
    for path in sorted(GUIDE.glob("*.ipynb")):
        if not names or path.stem in names:
            text = stored(path)
            path.write_text(text + "\n", encoding="utf-8", newline="\n")
            print(path.name)


if __name__ == "__main__":
    main(sys.argv[1:])
