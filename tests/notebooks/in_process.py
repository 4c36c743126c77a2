"""A template run cell by cell in this process, as a kernel would run it, without the start of one."""

from __future__ import annotations

from typing import Any

import nbformat
from IPython.core.interactiveshell import InteractiveShell

from toolkit import shipped


def run(name: str, **parameters: Any) -> dict[str, Any]:
    """Run every code cell of a template, the parameters put in after their cell; the names it leaves behind.

    A cell that raises an error raises it here.
    """
    notebook = nbformat.read(shipped.folder("templates") / f"{name}.ipynb", as_version=4)
    shell = InteractiveShell()
    try:
        for cell in notebook.cells:
            if cell.cell_type == "code":
                shell.run_cell(cell.source, store_history=False).raise_error()
                if "parameters" in cell.metadata.get("tags", []):
                    assert set(parameters) <= set(shell.user_ns)
                    shell.user_ns.update(parameters)
        return dict(shell.user_ns)
    finally:
        shell.reset(new_session=False)
        # The shell puts a module of its own in the place of __main__, from which no process can be started.
        shell.restore_sys_module_state()
