"""The runner cannot be fooled: whatever ends a notebook early, there is no executed notebook afterwards.

What papermill's own stamps say in each case (a notebook that ended by SystemExit(0), a dead kernel or a time-out is
stamped as completed, an unknown parameter is only a warning) was found by running them with papermill 2.7.
"""

import json
import logging
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import nbformat
import pytest

from tests.house.tree import ROOT
from toolkit.campaign import log, sheets, steps
from toolkit.cli import main
from toolkit.demo import bundled
from toolkit.errors import CampaignError, NotebookError
from toolkit.report import notebooks

PARAMETERS = 'campaign: str = ""  # folder of the campaign\nruns: int = 1  # how many\nhours: float = 1.5  # each'


def notebook(*cells: str, kernel: str = "python3") -> str:
    """A notebook with a parameters cell, then these cells with the ids cell-1, cell-2, ... as text."""
    made = nbformat.v4.new_notebook()
    made.metadata["kernelspec"] = {"name": kernel, "display_name": kernel, "language": "python"}
    made.cells = [nbformat.v4.new_code_cell(PARAMETERS, id="parameters", metadata={"tags": ["parameters"]})]
    made.cells += [nbformat.v4.new_code_cell(text, id=f"cell-{at}") for at, text in enumerate(cells, start=1)]
    return nbformat.writes(made)


def ran(tmp_path: Path, text: str, given: dict | None = None, **more) -> Path:
    """What the runner gives for a notebook called trial.ipynb; executed copies go to tmp_path/out."""
    (tmp_path / "trial.ipynb").write_text(text, encoding="utf-8")
    return notebooks.run(tmp_path / "trial.ipynb", given or {}, cwd=tmp_path, to=tmp_path / "out/done.ipynb", **more)


FAILURES = {
    "an exception": (
        "raise ValueError('the gauge is broken')",
        "stopped in code cell 3 ('cell-2') (ValueError: the gauge is broken).",
    ),
    "a bad exit": ("import sys\nsys.exit(3)", "stopped in code cell 3 ('cell-2') (SystemExit: 3)."),
    "a good exit": ("raise SystemExit(0)", "stopped in code cell 3 ('cell-2') (SystemExit: 0)."),
    "a dead kernel": ("import os\nos._exit(0)", "the kernel died in code cell 3 ('cell-2')."),
    "no time left": (
        "import time\ntime.sleep(60)",
        "ran out of time in code cell 3 ('cell-2'), which took longer than 2 s.",
    ),
    "no such magic": (
        "%no_such_magic\nraise ValueError(1)",
        "stopped in code cell 3 ('cell-2') (UsageError: Line magic function `%no_such_magic` not found.).",
    ),
}


@pytest.mark.parametrize("name", FAILURES)
def test_a_notebook_that_ended_early_is_told_kept_and_never_passed_on(tmp_path, name, capfd):
    cell, told = FAILURES[name]
    earlier = tmp_path / "out/done.ipynb"
    earlier.parent.mkdir()
    earlier.write_text("what an earlier run had left", encoding="utf-8")
    with pytest.raises(NotebookError) as error:
        ran(tmp_path, notebook("print('as far as here')", cell, "print('never')"), timeout_s=2)
    kept = tmp_path / "out/done-failed.ipynb"
    assert str(error.value) == f"trial.ipynb: {told} The part-run notebook is {kept}."
    assert error.value.exit_code == 3
    # Neither a new nor an old notebook lies where only an executed one may lie.
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["done-failed.ipynb"]
    cells = {item.id: item for item in nbformat.read(kept, as_version=4).cells if item.cell_type == "code"}
    assert cells["cell-1"].outputs[0].text == "as far as here\n"
    assert (cells["cell-3"].execution_count, cells["cell-3"].outputs) == (None, [])
    # The message says it all; nothing else reaches the terminal.
    assert capfd.readouterr() == ("", "")


def test_what_the_person_did_is_told_in_a_notebook_without_the_way_through_the_program(tmp_path):
    cell = "from toolkit.errors import SizingError\nraise SizingError('The scatter is not known.\\n  Run a pilot.')"
    with pytest.raises(NotebookError) as error:
        ran(tmp_path, notebook(cell))
    kept = tmp_path / "out/done-failed.ipynb"
    assert str(error.value) == (
        "trial.ipynb: stopped in code cell 2 ('cell-1') (SizingError: The scatter is not known.). The part-run "
        f"notebook is {kept}."
    )
    shown = next(item for item in nbformat.read(kept, as_version=4).cells if item.id == "cell-1").outputs[0]
    assert (shown.ename, shown.traceback) == ("SizingError", ["The scatter is not known.", "  Run a pilot."])


def test_a_kernel_that_dies_in_the_last_cell_is_found(tmp_path):
    with pytest.raises(NotebookError) as error:
        ran(tmp_path, notebook("import os\nos._exit(0)"))
    assert str(error.value) == (
        f"trial.ipynb: the kernel died in code cell 2 ('cell-1'). The part-run notebook is "
        f"{tmp_path / 'out/done-failed.ipynb'}."
    )
    assert not (tmp_path / "out/done.ipynb").exists()


def test_a_good_run_is_passed_on_with_its_parameters_and_without_traces(tmp_path):
    (tmp_path / "out").mkdir()
    (tmp_path / "out/done-failed.ipynb").write_text("of an earlier run", encoding="utf-8")
    text = notebook("from pathlib import Path\nprint(campaign, runs, hours, Path.cwd().name)")
    made = ran(tmp_path, text, {"campaign": "a'b", "runs": 3, "hours": 2})
    assert made == tmp_path / "out/done.ipynb"
    assert sorted(path.name for path in made.parent.iterdir()) == ["done.ipynb"]
    kept = nbformat.read(made, as_version=4)
    code = [item for item in kept.cells if item.cell_type == "code"]
    assert [item.execution_count for item in code] == [1, 2, 3]
    assert code[-1].outputs[0].text == f"a'b 3 2 {tmp_path.name}\n"
    assert str(tmp_path) not in made.read_text(encoding="utf-8")
    assert not any(key in item.metadata.get("papermill", {}) for item in code for key in ("start_time", "end_time"))


INTERRUPTED = """
import os, signal, sys
from pathlib import Path
from toolkit.report import notebooks

signal.signal(signal.SIGINT, signal.default_int_handler)
source, here = Path(sys.argv[1]), Path(sys.argv[2])
notebooks.run(source, {}, cwd=here, to=here / "out" / "done.ipynb")
"""


@pytest.mark.parametrize("sent", [signal.SIGINT, signal.SIGKILL])
def test_an_interrupted_or_killed_run_leaves_no_notebook_that_passes_for_whole_and_no_kernel(tmp_path, sent):
    cell = "import os, time\nwith open('kernel', 'w') as told:\n    told.write(str(os.getpid()))\ntime.sleep(300)"
    (tmp_path / "trial.ipynb").write_text(notebook("print('as far as here')", cell), encoding="utf-8")
    (tmp_path / "out").mkdir()
    (tmp_path / "out/done.ipynb").write_text("what an earlier run had left", encoding="utf-8")
    words = [sys.executable, "-c", INTERRUPTED, str(tmp_path / "trial.ipynb"), str(tmp_path)]
    started = subprocess.Popen(words, cwd=ROOT, stderr=subprocess.PIPE, text=True)
    until(lambda: (tmp_path / "kernel").is_file() and (tmp_path / "kernel").read_text())
    kernel = Path("/proc") / (tmp_path / "kernel").read_text()
    assert kernel.exists()
    os.kill(started.pid, sent)
    told = started.communicate(timeout=120)[1]
    assert started.returncode == -sent
    kept = tmp_path / "out/done-failed.ipynb"
    if sent == signal.SIGINT:
        assert told.splitlines()[-1] == (
            f"KeyboardInterrupt: trial.ipynb: interrupted in code cell 3 ('cell-2'). The part-run notebook is {kept}."
        )
        found = {item.id: item for item in nbformat.read(kept, as_version=4).cells}
        assert found["cell-1"].outputs[0].text == "as far as here\n"
        kept.unlink()
    until(lambda: not kernel.exists())
    assert not kernel.exists()
    assert list((tmp_path / "out").iterdir()) == []


def until(true):
    """Wait until something is so, for a minute at most."""
    end = time.monotonic() + 60
    while not true() and time.monotonic() < end:
        time.sleep(0.05)


def test_without_a_kernel_that_starts_there_is_no_notebook(tmp_path, monkeypatch):
    spec = tmp_path / "kernels" / "python3"
    spec.mkdir(parents=True)
    words = {"argv": ["/no/such/python", "-f", "{connection_file}"], "display_name": "gone", "language": "python"}
    (spec / "kernel.json").write_text(json.dumps(words), encoding="utf-8")
    monkeypatch.setenv("JUPYTER_PATH", str(tmp_path))
    monkeypatch.setenv("JUPYTER_PREFER_ENV_PATH", "0")
    with pytest.raises(NotebookError) as error:
        ran(tmp_path, notebook("x = 1"))
    assert str(error.value) == (
        "trial.ipynb: did not start (FileNotFoundError: [Errno 2] No such file or directory: '/no/such/python'). The "
        f"part-run notebook is {tmp_path / 'out/done-failed.ipynb'}."
    )
    assert not (tmp_path / "out/done.ipynb").exists()


def test_a_notebook_saved_under_another_kernel_name_runs_all_the_same(tmp_path):
    made = ran(tmp_path, notebook("x = 1", kernel="my-old-env"))
    assert nbformat.read(made, as_version=4).cells[-1].execution_count == 2


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (
            {"campagin": "x"},
            ["parameter 'campagin' is not in the parameters cell; it holds 'campaign', 'runs' or 'hours'. "
             "Did you mean 'campaign'?"],
        ),
        ({"runs": "3"}, ["parameter 'runs' is '3'; expected int."]),
        ({"runs": True}, ["parameter 'runs' is True; expected int."]),
        ({"runs": 2.5}, ["parameter 'runs' is 2.5; expected int."]),
        ({"hours": "1,5"}, ["parameter 'hours' is '1,5'; expected float."]),
        (
            {"campaign": 7, "rnus": 3},
            ["parameter 'campaign' is 7; expected str.",
             "parameter 'rnus' is not in the parameters cell; it holds 'campaign', 'runs' or 'hours'. "
             "Did you mean 'runs'?"],
        ),
    ],
)  # fmt: skip
def test_parameters_that_do_not_fit_are_refused_all_at_once_before_a_kernel_starts(tmp_path, given, told, monkeypatch):
    monkeypatch.setattr("papermill.execute_notebook", lambda *_, **__: pytest.fail("a kernel was started"))
    with pytest.raises(CampaignError) as error:
        ran(tmp_path, notebook("x = 1"), given)
    assert str(error.value) == "\n".join(
        ["trial.ipynb: the parameters are not in order:", *(f"  {line}" for line in told)]
    )
    assert not (tmp_path / "out").exists()


def test_a_notebook_that_is_not_there(tmp_path):
    with pytest.raises(CampaignError) as error:
        notebooks.run(tmp_path / "no.ipynb", {}, cwd=tmp_path, to=tmp_path / "out/done.ipynb")
    assert str(error.value) == "no.ipynb: there is no such notebook. Look at its name."
    assert not (tmp_path / "out").exists()


def test_every_step_that_a_campaign_has_come_to_is_run_and_one_that_stops_keeps_no_other_from_it(
    tmp_path, monkeypatch, capsys
):
    chain = bundled.bring("chain-soot", tmp_path / "chain")
    assert [name for name, _ in notebooks.due(chain)] == ["question", "size", "intake"]
    steps.plan(chain, phase="pilot")
    sheets.issue(chain)
    assert notebooks.due(chain)[2:4] == [("plan", {"phase": "pilot"}), ("sheets", {"phase": "pilot"})]
    ran = []

    def run_template(name, folder, *, parameters):
        """In place of a kernel."""
        ran.append(name)
        if name == "plan":
            raise NotebookError("plan.ipynb: stopped in code cell 2 ('open').")
        return folder / "derived" / "notebooks" / f"{name}.ipynb"

    def run_many(function, items, *, engine, progress, named):
        """In place of processes."""
        assert engine == "processes"
        return [function(item) for item in items]

    monkeypatch.setattr(notebooks, "run_template", run_template)
    monkeypatch.setattr(notebooks.parallel, "run_many", run_many)
    before = log.read(chain.folder)
    assert main(["notebooks", str(chain.folder), "--json"]) == 3
    said = capsys.readouterr()
    # What came back is taken in first; the rest begins with what takes longest, and is told in the order of the job.
    assert ran == ["intake", "size", "plan", "question", "sheets"]
    found = json.loads(said.out)
    made = [path.rpartition("/")[2] for path in found["notebooks"]]
    assert made == ["question.ipynb", "size.ipynb", "sheets.ipynb", "intake.ipynb"]
    assert found["stopped"] == {"plan": "plan.ipynb: stopped in code cell 2 ('open')."}
    assert said.err.splitlines()[-1] == "wearbook notebooks: plan.ipynb: stopped in code cell 2 ('open')."
    # Nothing was sealed or issued by it.
    assert log.read(chain.folder) == before


def test_the_environment_is_as_before_afterwards(tmp_path, monkeypatch):
    monkeypatch.setenv("OMP_NUM_THREADS", "7")
    monkeypatch.delenv(notebooks.HEADLESS, raising=False)
    text = notebook("import os\nprint(os.environ['OMP_NUM_THREADS'], os.environ['WEARBOOK_HEADLESS'])")
    made = nbformat.read(ran(tmp_path, text), as_version=4)
    assert made.cells[-1].outputs[0].text == "1 1\n"

    assert (os.environ["OMP_NUM_THREADS"], os.environ.get("WEARBOOK_HEADLESS")) == ("7", None)
    assert logging.getLogger("papermill").handlers
