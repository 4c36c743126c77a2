"""The same results from one process and from several; nothing left behind; errors that name their item."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from toolkit import parallel
from toolkit.errors import ModelError, WearbookError

ROOT = Path(__file__).parents[2]


def drawn(item, rng):
    return item, float(rng.normal())


def doubled(item):
    return 2 * item


def refused(item):
    if item >= 2:
        raise ModelError(f"{item} is too many. Take fewer.")
    return item


def broken(item):
    return 1 / (item - 1)


def gone(item):
    if item == 1:
        os._exit(9)
    return item


def slow(item):
    time.sleep(0.3)
    return item


def test_results_do_not_depend_on_the_number_of_processes():
    items = list(range(7))
    alone = parallel.run_many(drawn, items, seed=5, engine="serial")
    assert alone == parallel.run_many(drawn, items, seed=5, engine="processes", processes=2)
    assert alone == parallel.run_many(drawn, items, seed=5, engine="processes", processes=3)
    assert [item for item, _ in alone] == items
    assert len({value for _, value in alone}) == 7
    assert alone != parallel.run_many(drawn, items, seed=6, engine="serial")
    # An item keeps its numbers when others follow it.
    assert alone[:3] == parallel.run_many(drawn, items[:3], seed=5)


def test_auto_turns_to_processes_when_much_is_left(monkeypatch):
    pools = []
    real = parallel._in_processes
    monkeypatch.setattr(parallel, "_in_processes", lambda work, *rest: (pools.append(len(work)), real(work, *rest)))
    assert parallel.run_many(slow, list(range(3)), processes=2) == [0, 1, 2]
    assert pools == []
    monkeypatch.setattr(parallel, "WORTH_IT", 0.5)
    assert parallel.run_many(slow, list(range(4)), processes=2) == [0, 1, 2, 3]
    assert pools == [3]


@pytest.mark.parametrize("engine", ["serial", "processes"])
def test_progress_is_told_item_by_item(engine):
    told = []
    made = parallel.run_many(doubled, [1, 2, 3], engine=engine, progress=lambda *item: told.append(item))
    assert (made, told) == ([2, 4, 6], [(1, 3), (2, 3), (3, 3)])


@pytest.mark.parametrize("engine", ["serial", "processes"])
def test_an_error_names_the_first_item_that_has_one(engine):
    with pytest.raises(ModelError) as told:
        parallel.run_many(refused, [0, 1, 2, 3], engine=engine, named=lambda item: f"layout {item}")
    assert str(told.value) == "item 3 of 4 (layout 2): 2 is too many. Take fewer."
    with pytest.raises(ZeroDivisionError) as told:
        parallel.run_many(broken, [0, 1], engine=engine)
    assert told.value.__notes__ == ["while working on item 2 of 2"]


def test_a_process_that_dies_is_told():
    with pytest.raises(WearbookError) as told:
        parallel.run_many(gone, [0, 1, 2], engine="processes", processes=1)
    assert str(told.value) == (
        "item 2 of 3: a process that worked beside this one ended before its work was done (stopped by hand, or out of "
        "memory; or a script that calls this outside of 'if __name__ == \"__main__\":'). Nothing is left running; run "
        "it again, with engine 'serial' if need be."
    )


@pytest.mark.parametrize(
    ("named", "text"),
    [
        ({"engine": "cluster"}, "engine 'cluster': expected 'auto', 'serial' or 'processes'."),
        ({"processes": 0}, "0 processes were asked for; expected 1 or more."),
    ],
)
def test_what_cannot_be_asked(named, text):
    with pytest.raises(WearbookError) as told:
        parallel.run_many(doubled, [1], **named)
    assert str(told.value) == text


def test_nothing_to_do_is_done():
    assert parallel.run_many(doubled, [], engine="processes") == []


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGKILL])
def test_nothing_is_left_behind(tmp_path, sent):
    script = (
        "import os, time\n"
        "from pathlib import Path\n"
        "from toolkit import parallel\n"
        "def wait(item):\n"
        f"    Path({str(tmp_path)!r}, str(os.getpid())).touch()\n"
        "    time.sleep(60)\n"
        "if __name__ == '__main__':\n"
        "    parallel.run_many(wait, [1, 2, 3, 4], engine='processes', processes=2)\n"
    )
    path = tmp_path / "wait.py"
    path.write_text(script, encoding="utf-8")
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    # A test run that was started in the background hands a deaf ear for Ctrl-C down to its children.
    started = subprocess.Popen(
        [sys.executable, str(path)], cwd=tmp_path, env=env, stderr=subprocess.PIPE, text=True, preexec_fn=_listening
    )
    until(lambda: len(list(tmp_path.glob("[0-9]*"))) == 2)
    os.kill(started.pid, sent)
    told = started.communicate(timeout=120)[1]
    until(lambda: not any(Path("/proc", item.name).exists() for item in tmp_path.glob("[0-9]*")))
    assert [item.name for item in tmp_path.glob("[0-9]*") if Path("/proc", item.name).exists()] == []
    assert started.returncode == -sent
    assert told.count("Traceback") <= 1


def _listening():
    """Let Ctrl-C through again."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def until(true):
    """Wait until something is so, for half a minute at most."""
    end = time.monotonic() + 30
    while not true() and time.monotonic() < end:
        time.sleep(0.02)
