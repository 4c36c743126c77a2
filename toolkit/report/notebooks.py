"""Running a notebook for a campaign so that a half-run one can never pass for a whole one (rank 10).

papermill does the work; this module refuses parameters it would only warn about, fixes kernel and working directory,
lets it write to a scratch place, checks that every cell really ran, and only then puts the notebook where it belongs.
"""

from __future__ import annotations

import logging
import os
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import AbstractContextManager, contextmanager, nullcontext
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from toolkit import parallel, shipped
from toolkit.brief.model import PHASES
from toolkit.campaign import editions, log, sizing, storage
from toolkit.campaign.folder import Campaign
from toolkit.campaign.storage import HEADLESS
from toolkit.errors import CampaignError, NotebookError, listing, nearest

_PYTHON = {"str": str, "int": int, "float": (int, float), "bool": bool}


TEMPLATES = ("question", "size", "plan", "sheets", "intake", "analyse", "decide", "report")
# Those that take longest first, so that two processes end at about the same time.
_LONGEST_FIRST = ("analyse", "report", "size", "decide", "plan", "question", "sheets")


@dataclass(frozen=True)
class Ran:
    """The executed notebooks of a campaign; name to why it stopped, and to how long it took [s]."""

    written: tuple[Path, ...]
    stopped: Mapping[str, str]
    seconds: Mapping[str, float]

    def to_json(self) -> dict[str, Any]:
        """notebooks[] and stopped{}."""
        return {"notebooks": [str(path) for path in self.written], "stopped": dict(self.stopped)}

    def __repr__(self) -> str:
        """Which notebooks were written, and why others stopped."""
        return "\n".join([*(path.name for path in self.written), *self.stopped.values()])


def run_due(campaign: Campaign, *, progress: Callable[[int, int], None] | None = None) -> Ran:
    """Run the templates of every step that a campaign has come to, two at a time; nothing is sealed or issued anew.

    question always; size where the scatter is known; plan and sheets for the last phase that is sealed or issued;
    intake where something came back, before all others; analyse, decide and report where a run of the main phase is
    valid.

    Parameters
    ----------
    campaign : Campaign
    progress : callable, optional
        Called with (notebooks run, notebooks in all) after each.

    Returns
    -------
    Ran
        In the order of the job. One that stops does not keep the others from running.

    Raises
    ------
    KeyboardInterrupt
        When interrupted: no process is left, and of a notebook that was running nothing at its name.
    """
    asked = [(name, campaign.folder, parameters) for name, parameters in due(campaign)]
    # What came back is taken in before anything is worked out from it.
    first = [_ran(item) for item in asked if item[0] not in _LONGEST_FIRST]
    rest = sorted((item for item in asked if item[0] in _LONGEST_FIRST), key=lambda item: _LONGEST_FIRST.index(item[0]))

    def done(number: int, of: int) -> None:
        """Tell of a notebook more."""
        if progress is not None:
            progress(len(first) + number, len(first) + of)

    made = first + parallel.run_many(_ran, rest, engine="processes", progress=done, named=lambda item: item[0])
    made.sort(key=lambda one: TEMPLATES.index(one[0]))
    return Ran(
        tuple(path for _, path, _, _ in made if path is not None),
        {name: problem for name, _, problem, _ in made if problem},
        {name: taken for name, _, _, taken in made},
    )


def _ran(item: tuple[str, Path, Mapping[str, Any]]) -> tuple[str, Path | None, str, float]:
    """One template run: its name, where the executed copy lies, why it stopped, how long it took [s]."""
    name, campaign, parameters = item
    began = time.monotonic()
    try:
        return name, run_template(name, campaign, parameters=parameters), "", time.monotonic() - began
    except NotebookError as problem:
        return name, None, str(problem), time.monotonic() - began


def due(campaign: Campaign) -> list[tuple[str, dict[str, Any]]]:
    """The templates of the steps that a campaign has come to, with their parameters."""
    found = campaign.records()
    rows = log.read(campaign.folder)
    primary = next(item.name for item in campaign.brief.responses if item.role == "primary")
    old = campaign.brief.old_data is not None
    sealed = [phase for phase in PHASES if campaign.sealed(phase)]
    issued = [row["phase"] for row in rows if row["kind"] == editions.ISSUED]
    made: list[tuple[str, dict[str, Any]]] = [("question", {})]
    if not old and primary not in sizing.known(campaign, found)[1]:
        made.append(("size", {}))
    made += [("plan", {"phase": sealed[-1]})] if sealed else []
    made += [("sheets", {"phase": issued[-1]})] if issued else []
    if not old and campaign.raw_files:
        made.append(("intake", {}))
    if ((found.runs["phase"] == "main") & (found.runs["verdict"] == "valid")).any():
        made += [("analyse", {}), ("decide", {}), ("report", {})]
    return made


def run_template(
    name: str, campaign: Path, *, parameters: Mapping[str, Any] | None = None, timeout_s: int = 600
) -> Path:
    """Run a template notebook for a campaign folder; the executed copy lies in derived/notebooks.

    Parameters
    ----------
    name : str
        One of ``TEMPLATES``.
    campaign : Path
    parameters : mapping, optional
        Beside the campaign, such as the phase of the plan.
    timeout_s : int
        Longest time for one cell [s].

    Returns
    -------
    Path
        The executed notebook.
    """
    folder = Path(campaign).resolve()
    source = shipped.folder("templates") / f"{name}.ipynb"
    return run(
        source,
        {"campaign": str(folder), **(parameters or {})},
        cwd=folder,
        to=folder / "derived" / "notebooks" / f"{name}.ipynb",
        timeout_s=timeout_s,
        held=folder,
    )


def run(
    source: Path,
    parameters: Mapping[str, Any],
    *,
    cwd: Path,
    to: Path,
    timeout_s: int = 600,
    held: Path | None = None,
) -> Path:
    """Run any notebook that has a parameters cell.

    Parameters
    ----------
    source : Path
    parameters : mapping
        Names must stand in the notebook's parameters cell, values must be of the type annotated there.
    cwd : Path
        The kernel's working directory.
    to : Path
        Where the executed notebook goes when every cell ran; until then nothing is there, not even what an earlier
        run had left, and a part-run notebook lies beside it as ``<name>-failed.ipynb``.
    timeout_s : int
        Longest time for one cell [s].
    held : Path, optional
        The campaign folder that it is written into, held meanwhile: whoever takes a folder sweeps what is half
        written there.

    Raises
    ------
    CampaignError
        When a parameter is unknown or of the wrong type.
    NotebookError
        When a cell failed, the kernel died, time ran out or a cell did not run: the part-run notebook is kept and
        its path and the cell are named.
    KeyboardInterrupt
        When interrupted: the kernel is gone then, and the text tells the same of the part-run notebook.
    """
    import papermill
    from traitlets.config import Config

    # What papermill would log is in the message below.
    logging.getLogger("papermill").addHandler(logging.NullHandler())
    source, to = Path(source), Path(to)
    if not source.is_file():
        raise CampaignError(f"{source.name}: there is no such notebook. Look at its name.")
    _check_parameters(papermill.inspect_notebook(str(source)), parameters, source.name)
    # Newer kernels warn about plain loopback traffic at every headless start unless told that it is meant.
    quiet = Config(
        {"KernelManager": {"transport_encryption": "auto"}, "AsyncKernelManager": {"transport_encryption": "auto"}}
    )
    # Whoever is killed on the way leaves nothing that could pass for a run of now.
    storage.take_away(to)
    with tempfile.TemporaryDirectory(prefix="wearbook-") as scratch, _environment():
        made = Path(scratch) / source.name
        problem: BaseException | None = None
        try:
            papermill.execute_notebook(
                str(source),
                str(made),
                parameters=dict(parameters),
                kernel_name="python3",
                cwd=str(cwd),
                progress_bar=False,
                log_output=False,
                execution_timeout=timeout_s,
                start_timeout=120,
                config=quiet,
                # An idle kernel may be caught by the interrupt that precedes its shutdown, and would report it.
                extra_arguments=["--IPKernelApp.log_level=50"],
            )
        except Exception as failure:  # whatever went wrong in there, the person needs the cell and the path
            problem = failure
        except SystemExit as failure:
            problem = RuntimeError(f"a cell ended the kernel (exit {failure.code})")
        except KeyboardInterrupt as failure:
            problem = failure
        notebook = _read(made)
        fault = _fault(notebook, problem, timeout_s)
        kept = to.with_name(f"{to.stem}-failed.ipynb")
        if fault:
            if notebook is not None:
                with _holding(held):
                    storage.write_text(kept, _text(notebook))
            where = f" The part-run notebook is {kept}." if notebook is not None else ""
            error = KeyboardInterrupt if isinstance(problem, KeyboardInterrupt) else NotebookError
            raise error(f"{source.name}: {fault}{where}")
        with _holding(held):
            storage.write_text(to, _text(notebook))
            storage.take_away(kept)
    return to


def _holding(folder: Path | None) -> AbstractContextManager[None]:
    """The campaign folder held, where there is one."""
    return nullcontext() if folder is None else storage.locked(folder)


def _check_parameters(known: Mapping[str, Any], given: Mapping[str, Any], name: str) -> None:
    """Refuse unknown names and values of another type; all at once."""
    faults = []
    for key, value in given.items():
        if key not in known:
            faults.append(
                f"parameter '{key}' is not in the parameters cell; it holds {listing(list(known))}. "
                f"{nearest(key, list(known))}".rstrip()
            )
            continue
        kind = known[key]["inferred_type_name"]
        wanted = _PYTHON.get(kind)
        if wanted is not None and (not isinstance(value, wanted) or (isinstance(value, bool) and kind != "bool")):
            faults.append(f"parameter '{key}' is {value!r}; expected {kind}.")
    if faults:
        raise CampaignError("\n".join([f"{name}: the parameters are not in order:", *(f"  {line}" for line in faults)]))


@contextmanager
def _environment() -> Iterator[None]:
    """Mark kernels started within as headless, with one linear-algebra thread each."""
    wanted = {
        HEADLESS: "1",
        "OMP_NUM_THREADS": "1",
        "OPENBLAS_NUM_THREADS": "1",
        "MPLBACKEND": "module://matplotlib_inline.backend_inline",
    }
    before = {name: os.environ.get(name) for name in wanted}
    os.environ.update(wanted)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value


def _read(path: Path) -> Any:
    """The notebook papermill left, or None."""
    import nbformat

    return nbformat.read(path, as_version=4) if path.is_file() else None


def _text(notebook: Any) -> str:
    """The notebook as text, without paths and times of this machine."""
    import nbformat

    for key in ("input_path", "output_path", "start_time", "end_time", "duration", "environment_variables"):
        notebook.metadata.get("papermill", {}).pop(key, None)
    for cell in notebook.cells:
        for key in ("start_time", "end_time", "duration"):
            cell.metadata.get("papermill", {}).pop(key, None)
        cell.metadata.pop("execution", None)
    return nbformat.writes(notebook)


def _fault(notebook: Any, problem: BaseException | None, timeout_s: int) -> str:
    """Why the run does not count, or an empty text; papermill's own stamps are not enough to know it."""
    if notebook is None:
        return f"did not start ({_first_line(problem)})."
    code = [cell for cell in notebook.cells if cell.cell_type == "code"]
    # Stamped when the cell was sent to the kernel; the other stamps say 'completed' of cells that never ran.
    reached = [cell for cell in code if cell.metadata.get("papermill", {}).get("start_time")]
    kind = type(problem).__name__
    if reached and isinstance(problem, KeyboardInterrupt):
        return f"interrupted in code cell {_place(notebook, reached[-1])}."
    if reached and kind == "CellTimeoutError":
        return f"ran out of time in code cell {_place(notebook, reached[-1])}, which took longer than {timeout_s} s."
    if reached and kind == "DeadKernelError":
        return f"the kernel died in code cell {_place(notebook, reached[-1])}."
    for cell in code:
        for item in cell.outputs:
            if item.output_type == "error":
                return f"stopped in code cell {_place(notebook, cell)} ({item.ename}: {_short(item.evalue)})."
    if problem is not None and reached:
        said = _last_words(reached[-1]) or _first_line(problem)
        return f"stopped in code cell {_place(notebook, reached[-1])} ({said})."
    if problem is not None:
        return f"did not start ({_first_line(problem)})."
    missed = [cell for cell in code if cell.source.strip() and cell.execution_count is None]
    if missed:
        return f"code cell {_place(notebook, missed[0])} did not run, though no failure was reported."
    stamped = notebook.metadata.get("papermill", {})
    if stamped.get("exception") or not stamped.get("end_time"):
        return "did not run to its end, though no failure was reported."
    return ""


def _last_words(cell: Any) -> str:
    """The last line a cell wrote on its error stream."""
    said = "".join(item.text for item in cell.outputs if item.get("name") == "stderr").strip()
    return said.splitlines()[-1] if said else ""


def _place(notebook: Any, cell: Any) -> str:
    """A code cell by its number and id."""
    code = [item for item in notebook.cells if item.cell_type == "code"]
    return f"{code.index(cell) + 1} ('{cell.get('id', '')}')"


def _first_line(problem: BaseException | None) -> str:
    """The first line of a failure's text."""
    text = str(problem).strip() if problem is not None else ""
    return f"{type(problem).__name__}: {text.splitlines()[0]}" if text else type(problem).__name__


def _short(text: str) -> str:
    """A failure's text without what follows its first line."""
    lines = str(text).strip().splitlines()
    return lines[0] if lines else ""
