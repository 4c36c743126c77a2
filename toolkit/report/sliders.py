"""Sliders for a sizing in JupyterLab; where no browser is there to move them, a line that says so (rank 10)."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import Any

from toolkit.brief.model import Response
from toolkit.plot import promise as promise_plot
from toolkit.report import tables
from toolkit.report.notebooks import HEADLESS
from toolkit.report.show import show
from toolkit.report.view import Shown
from toolkit.size.options import Options
from toolkit.size.what_if import WhatIf, what_if

_STATIC = "The tables and figures above are the answer; run this notebook in JupyterLab to move sliders beside them."
_LEAST_TIMES, _MOST_TIMES, _STEP_TIMES = 0.5, 2.0, 0.05


def what_if_sliders(sizing: Options, plan: str) -> Any:
    """Three sliders (plan, scatter, true change) over the chances of every comparison; text alone when run headless.

    Parameters
    ----------
    sizing : Options
    plan : str
        The plan to begin with.
    """
    if os.environ.get(HEADLESS):
        return Shown([_STATIC])
    if sizing.phase == "extension":
        return Shown(["For an extension there are no sliders: its plans count together with runs that are made."])
    import ipywidgets

    response = next(item for item in sizing.brief.responses if item.role == "primary")
    wide = {"description_width": "180px"}
    across = ipywidgets.Layout(width="640px")
    runs = [item.design.runs for item in sizing.options]
    names = [(_short(runs, at), item.name) for at, item in enumerate(sizing.options)]
    plans = ipywidgets.SelectionSlider(
        options=names, value=plan, description="plan", style=wide, layout=across, continuous_update=False
    )
    times = ipywidgets.FloatSlider(
        value=1.0,
        min=_LEAST_TIMES,
        max=_MOST_TIMES,
        step=_STEP_TIMES,
        description="scatter, times as known",
        style=wide,
        layout=across,
        continuous_update=False,
    )
    least, most, step, unit = _changes(response)
    change = ipywidgets.FloatSlider(
        value=_start(response),
        min=least,
        max=most,
        step=step,
        description=f"true change ({unit})",
        style=wide,
        layout=across,
        continuous_update=False,
    )
    as_asked = ipywidgets.Checkbox(value=True, description="true changes as in campaign.toml", indent=False)
    ipywidgets.dlink((as_asked, "value"), (change, "disabled"))
    shown = ipywidgets.interactive_output(
        lambda **moved: _show(sizing, **moved),
        {"plan": plans, "scatter_times": times, "change": change, "as_asked": as_asked},
    )
    return ipywidgets.VBox([plans, times, as_asked, change, shown])


def curves(sizing: Options, plan: str) -> Shown | None:
    """Show the chance of every comparison over its true change, the picture the sliders move; words where none is."""
    if sizing.phase == "extension":
        return Shown(["For an extension there is no such picture: its plans count together with runs that are made."])
    found = what_if(sizing, plan)
    if found.curve.empty:
        return Shown(["The chance is not known for any comparison."])
    _draw(sizing, found)
    return None


def drawn_curves(sizing: Options, found: WhatIf) -> tuple[Any, str]:
    """The curves of one plan and their text alternative."""
    response = next(item for item in sizing.brief.responses if item.role == "primary")
    asked = {"response": response.name, "plan": found.priced}
    drawn = promise_plot.curves(found.curve, sizing.brief, **asked)
    return drawn, promise_plot.alt_curves(found.curve, sizing.brief, **asked)


def _draw(sizing: Options, found: WhatIf) -> None:
    """Show the curves of one plan, where there are any."""
    if not found.curve.empty:
        show(*drawn_curves(sizing, found))


def what_is_shown(found: WhatIf) -> Shown:
    """What stands below the picture: a sentence, the chances as a table, and the lines that choose the plan."""
    rows = [
        (
            row["comparison"],
            row["true_change"],
            _share(row["chance_shown"]),
            _share(row["at_upper_limit"]),
            row["detectable"],
        )
        for row in found.table.to_dict("records")
    ]
    head = ("comparison", "true change", "chance shown", "at the 80 % upper limit", "detectable")
    return Shown(
        [
            found.sentence,
            tables.plain("Chances at these values", head, rows, head[1:]),
            f"To choose this plan, write into [plan] of campaign.toml: {found.lines}",
        ]
    )


def _show(sizing: Options, plan: str, scatter_times: float, change: float, as_asked: bool) -> None:
    """Show what the sliders stand at."""
    from IPython.display import display

    found = what_if(sizing, plan, scatter_times=scatter_times, change=None if as_asked else change)
    _draw(sizing, found)
    display(what_is_shown(found))


def _short(runs: Sequence[int], at: int) -> str:
    """What the readout of the slider holds of a plan; the whole name stands in the sentence below.

    Examples
    --------
    >>> [_short([8, 12, 12], at) for at in range(3)]
    ['8 runs', '12 runs, plan 1 of 2', '12 runs, plan 2 of 2']
    """
    alike = list(runs).count(runs[at])
    which = f", plan {list(runs[:at]).count(runs[at]) + 1} of {alike}" if alike > 1 else ""
    return f"{runs[at]} runs{which}"


def _changes(response: Response) -> tuple[float, float, float, str]:
    """Least, most and step of the true change, and what it is measured in."""
    if response.scale == "log":
        return 5.0, 60.0, 1.0, "%"
    worth = response.worthwhile_change or 1.0
    return worth / 4.0, worth * 4.0, worth / 4.0, response.measured_in


def _start(response: Response) -> float:
    """Where the true change begins: at the worthwhile one, within the slider."""
    least, most, _, _ = _changes(response)
    worth = response.worthwhile_change_pct if response.scale == "log" else response.worthwhile_change
    return min(max(worth or (20.0 if response.scale == "log" else least), least), most)


def _share(value: object) -> str:
    """A chance in per cent; a dash where there is none."""
    return "–" if value is None or value != value else f"{100 * float(str(value)):.0f} %"
