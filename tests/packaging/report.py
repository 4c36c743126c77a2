"""What the demo says about its report."""

from pathlib import Path


def report_of(said: str, folder: Path) -> Path:
    """The existing report whose path ends a line of what the demo printed when run in ``folder``."""
    for line in said.splitlines():
        words = line.split(" ")
        for first in range(len(words)):
            path = folder / " ".join(words[first:])
            if path.suffix == ".html" and path.is_file():
                return path
    raise AssertionError(f"no line ends in the path of an HTML file that is there:\n{said}")
