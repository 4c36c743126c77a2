"""A disk that is full: the old state or the new one, exit code 4, the file named, and the verb completes later.

The limit on the size of a file (RLIMIT_FSIZE) makes the system refuse a write half-way, as a full disk does.
"""

from __future__ import annotations

import random
import re
import resource
import tempfile

import pytest

from tests.robust import folders, processes

# Sheets of a workbook are put together in a temporary file first.
MADE = (
    f"{tempfile.gettempdir()}: a workbook could not be put together there (File too large); nothing was written. Free "
    f"space or mend the permissions, or set TMPDIR to another folder, then repeat."
)
LIMITS = (0, 200, 3_000, 20_000)


def limits_of(config, verb: str) -> tuple[int, ...]:
    """The limits a verb is run under: one of them, drawn from the seed, or with --kills each."""
    if config.getoption("kills"):
        return LIMITS
    return (random.Random(f"{config.getoption('seed')} {verb}").choice(LIMITS),)


def limited(most: int):
    """Refuse this process every byte of a file beyond ``most``."""
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))


@pytest.mark.parametrize("verb", folders.VERBS)
def test_a_full_disk_leaves_a_whole_folder_and_names_the_file(states, tmp_path, request, verb):
    old, new = states.old(verb), states.new(verb)
    for most in limits_of(request.config, verb):
        root = states.copy(verb, tmp_path / f"{most}" / "c")
        code, said = processes.command(*folders.VERBS[verb].command(root), before=limited(most))
        # Nothing is written through files that are larger than the limit, so it runs through where all are smaller.
        written = [name for name in new if new[name] != old.get(name)]
        assert code == (4 if max(len(new[name]) for name in written) > most else 0)
        if code == 4:
            assert "Traceback" not in said
            command = folders.VERBS[verb].words[0]
            if said == f"wearbook {command}: {MADE}\n":
                assert folders.contents(root) == old
                continue
            told = re.match(
                rf"wearbook {command}: (\S+): could not be written \(File too large\)\. The old content, ", said
            )
            assert told, said
            name = told[1].removeprefix(f"{root}/")
            assert name in new
            assert len(new[name]) > most
        assert folders.faults(root, old, new) == []
        folders.again(verb, root)
        assert folders.unfinished(root, old, new) == []
