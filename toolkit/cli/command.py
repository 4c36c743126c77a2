"""A command from its words to its exit code (rank 11)."""

from __future__ import annotations

import argparse
import gc
import os
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from toolkit.cli import closing
from toolkit.cli.arguments import parser
from toolkit.cli.verbs import VERBS
from toolkit.errors import WearbookError


def run(arguments: Sequence[str] | None = None) -> int:
    """Run one verb; gives the exit code."""
    top = parser()
    words = sys.argv[1:] if arguments is None else arguments
    odd = [word for word in words if not _is_text(word)]
    if odd:
        print(f"wearbook: {ascii(odd[0])} holds bytes that are no text in UTF-8; rename it.", file=sys.stderr)
        return 2
    given = top.parse_args(words)
    if given.version:
        from importlib.metadata import version

        print(f"wearbook {version('wearbook')}")
        return 0
    if given.verb is None:
        top.print_help(sys.stderr)
        return 2
    # Read by numpy's linear algebra when it is first imported: small problems only lose time to threads.
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    verb = VERBS[given.verb]
    with _fewer_collections():
        if getattr(given, "dry_run", False):
            from toolkit.cli import trying

            return _guarded(given, lambda given: trying.try_out(given, lambda: _guarded(given, verb)))
        return _guarded(given, verb)


@contextmanager
def _fewer_collections() -> Iterator[None]:
    """Look for unused cycles of objects less often, as long as the block lasts.

    A command lives for seconds, and most of what it makes while it imports stays in use to its end: as Python looks by
    itself, a report spends a tenth of its time on that.
    """
    before = gc.get_threshold()
    gc.set_threshold(50_000, 20, 50)
    try:
        yield
    finally:
        gc.set_threshold(*before)


def _guarded(given: argparse.Namespace, verb: Callable[[argparse.Namespace], int | None]) -> int:
    """Run a verb; gives the exit code, and says why it was refused."""
    try:
        return verb(given) or 0
    except WearbookError as problem:
        if given.debug:
            raise
        return closing.refused(given, f"wearbook {given.verb}: {problem}", problem.exit_code, problem)
    except KeyboardInterrupt as problem:
        told = f"interrupted; nothing is half-written. {problem}".rstrip()
        return closing.refused(given, f"wearbook: {told}", 130)
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    # What no module foresaw: a disk that fails while a font or a template is read.
    except OSError as problem:
        if given.debug:
            raise
        where, why = problem.filename or "storage", problem.strerror or problem
        told = f"wearbook {given.verb}: {where}: {why}; nothing is half-written. Repeat it then."
        return closing.refused(given, told, 4, problem)


def _is_text(word: str) -> bool:
    """Whether a word of the command line can be written down: the system's other bytes are none of any text."""
    try:
        word.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True
