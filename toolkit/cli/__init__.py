"""The command `wearbook`: one verb, one library call (rank 11).

Results go to stdout, what else there is to say to stderr; nothing heavy is imported before a verb needs it. Nothing of
ours is imported here before ``main`` is called, so that Ctrl-C is taken as soon as Python runs.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

__all__ = ["main"]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one verb; gives the exit code."""
    try:
        from toolkit.cli import command

        return command.run(arguments)
    # While modules are imported and the words of the command are read; a verb tells it by itself.
    except KeyboardInterrupt:
        print("wearbook: interrupted; nothing is half-written.", file=sys.stderr)
        return 130
