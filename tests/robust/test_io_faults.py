"""The k-th call to the disk fails, once or from then on: the folder is whole, the file is named, the verb completes.

``python -m pytest tests/robust/test_io_faults.py --kills 1 -s`` goes through every call of every verb, once and for
good, the errors in turn; without the option one of them is drawn from the seed.
"""

from __future__ import annotations

import errno
import os
import random
import shutil

import pytest

from tests.robust import folders
from toolkit.campaign import storage
from toolkit.errors import StorageError

ERRORS = (errno.ENOSPC, errno.EIO, errno.EACCES)


class Disk:
    """Counts the calls that change the disk and lets one of them fail, or all from it on; 0: none."""

    def __init__(self, patch: pytest.MonkeyPatch) -> None:
        self.calls, self.fail_at, self.for_good, self.code = 0, 0, False, 0
        for module, name in ((os, "replace"), (os, "fsync"), (os, "mkdir"), (os, "unlink")):
            patch.setattr(module, name, self._counted(getattr(module, name)))
        patch.setattr(storage, "open", self._opened, raising=False)

    def tick(self, path: object) -> None:
        """Count a call, and fail when it is time to."""
        self.calls += 1
        if self.fail_at and (self.calls >= self.fail_at if self.for_good else self.calls == self.fail_at):
            raise OSError(self.code, os.strerror(self.code), str(path))

    def _counted(self, real):
        """A call of the system that is counted."""

        def call(path, *rest, **named):
            """Count it, then make it."""
            self.tick(path)
            return real(path, *rest, **named)

        return call

    def _opened(self, path, mode="r", **named):
        """A file whose opening and writing are counted."""
        self.tick(path)
        handle = open(path, mode, **named)
        real = handle.write

        class Counted:
            """The file, its writing counted."""

            def write(this, content):
                """Write half of it where it fails, as a full disk does."""
                try:
                    self.tick(path)
                except OSError:
                    real(content[: len(content) // 2])
                    raise
                return real(content)

            def __getattr__(this, name):
                """All else is the file's own."""
                return getattr(handle, name)

            def __enter__(this):
                """The file is open."""
                return this

            def __exit__(this, *problem):
                """Close it."""
                handle.close()

        return Counted()


def drawn(config, verb: str, calls: int) -> list[tuple[int, bool, int]]:
    """Which call fails, for good or once, and with which error."""
    every = [(at, good, ERRORS[(at + good) % 3]) for at in range(1, calls + 1) for good in (False, True)]
    if config.getoption("kills"):
        return every
    return [random.Random(f"{config.getoption('seed')} {verb}").choice(every)]


@pytest.mark.parametrize("verb", folders.VERBS)
def test_a_call_that_fails_leaves_a_whole_folder(states, tmp_path, request, verb):
    old, new = states.old(verb), states.new(verb)
    with pytest.MonkeyPatch.context() as patch:
        disk = Disk(patch)
        root = states.copy(verb, tmp_path / "whole" / "c")
        disk.calls = 0
        folders.VERBS[verb].run(root)
        calls = disk.calls
    assert calls > 4
    chosen, refused = drawn(request.config, verb, calls), 0
    for at, for_good, code in chosen:
        root = states.copy(verb, tmp_path / "failing" / "c")
        with pytest.MonkeyPatch.context() as patch:
            disk = Disk(patch)
            disk.fail_at, disk.for_good, disk.code = at, for_good, code
            try:
                folders.VERBS[verb].run(root)
            except StorageError as problem:
                refused += 1
                assert os.strerror(code) in str(problem)
                assert str(problem).startswith(str(root)), problem
        assert disk.calls >= at, "the call that fails must be made"
        assert folders.faults(root, old, new) == [], (at, for_good, code)
        folders.again(verb, root)
        assert folders.unfinished(root, old, new) == [], (at, for_good, code)
        shutil.rmtree(root.parent)
    print(f"{verb}: {calls} calls, {len(chosen)} of them failed, {refused} refused")
