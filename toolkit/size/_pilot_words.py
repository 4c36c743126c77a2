"""What is said of a pilot that tells little or nothing: why, and what would make it usable (rank 5)."""

from __future__ import annotations

import pandas as pd

from toolkit.brief.model import Brief, Response
from toolkit.numeric import intervals
from toolkit.wording import joined

# Our own limits. No wear of runs made alike differs a hundredfold by chance, and units of a quantity lie 1,000 apart;
# a factor of three is a difference of 2.6 SDs at an SD of 30 %.
_FAR, _APART = 100.0, 3.0
_AMEND = "`wearbook amend --phase pilot`"
_AGAIN = "`wearbook amend --phase pilot --lost repeat`"


def left_out(response: Response, runs: pd.DataFrame) -> list[str]:
    """The runs of a pilot that are not valid, and how each comes to count; nothing where there are none."""
    by = {
        verdict: [str(run) for run in runs.loc[runs["verdict"] == verdict, "run_id"]]
        for verdict in ("invalid", "not interpretable", "pending")
    }
    if not any(by.values()):
        return []
    told = [f"{joined(names)} ({verdict})" for verdict, names in by.items() if names]
    ways = []
    if by["pending"]:
        ways.append("a pending run counts once it is judged valid (`wearbook note`)")
    if by["invalid"] or by["not interpretable"]:
        ways.append(f"a lost one, where it was not repeated yet, is made again by {_AGAIN}")
    one = sum(len(names) for names in by.values()) == 1
    every = " and no run is left" if not (runs["verdict"] == "valid").any() else ""
    left = f"{joined(told)} {'is' if one else 'are'} left out{every}"
    return [f"{response.name}: of the pilot {left}: {'; '.join(ways)}."]


def how_to_repeat(lost: bool) -> str:
    """How runs are added to a pilot."""
    more = f"more replicates in [pilot], then {_AMEND} where the pilot is sealed"
    return f"({_AGAIN} makes the lost runs again; or {more})" if lost else f"({more})"


def short_of_stations(response: Response, runs: pd.DataFrame, stations: pd.DataFrame | None) -> list[str]:
    """The runs of a pilot whose value is made from fewer stations than asked; nothing where there are none."""
    if stations is None or response.stations is None or response.name not in stations or "position" in runs:
        return []
    there = stations[stations[response.name].notna()].groupby("run_id").size()
    short = [str(run) for run in runs["run_id"] if 0 < int(there.get(run, 0)) < response.stations.count]
    if not short:
        return []
    one = len(short) == 1
    return [
        f"{response.name}: the value of pilot run{'' if one else 's'} {joined(short)} is made from fewer than "
        f"{response.stations.count} stations ({response.stations.kind}), so that what differs between stations adds to "
        f"the scatter. Measure those missing where the part{'' if one else 's'} can still be measured."
    ]


def one_df(brief: Brief, response: Response) -> str:
    """What a single degree of freedom leaves open, and what it costs."""
    low, high = (float(end) for end in intervals.sd_interval(1.0, 1.0, conf_level=brief.conf_level))
    return (
        f"{response.name}: the pilot has 1 degree of freedom for scatter: the true SD may be {low:.2g} to {high:.2g} "
        f"times what it shows ({100 * brief.conf_level:g} %), and the plans are so large for that doubt. Each further "
        f"pilot run of a combination that was run adds a degree of freedom {how_to_repeat(False)}."
    )


def far_apart(brief: Brief, response: Response, runs: pd.DataFrame, word: str) -> list[str]:
    """Runs made alike that lie far apart: a hundredfold, probably read in another unit (mm for um); threefold, to be
    looked at, as they make the scatter."""
    if response.scale != "log":
        return []
    values = pd.to_numeric(runs[response.name], errors="coerce")
    values = values[values > 0]
    alike = [runs[item.name] for item in brief.factors]
    unit = (
        "look whether one of them was read in another unit, and put the figure right in its table or file (`wearbook "
        "intake` takes the change in)."
    )
    log = (
        "look for what was different in the logs and readings of both. Nothing is left out for its value; a run that "
        "its log shows to be void is judged so, with a reason, by `wearbook note`."
    )
    # Builds may lie apart: what is threefold must be so within one.
    made = [(_FAR, float("inf"), alike, unit), (_APART, _FAR, [*alike, runs["build_id"]], log)]
    return [
        f"{response.name}: {word} runs {runs['run_id'][low]} ({values[low]:g}) and {runs['run_id'][high]} "
        f"({values[high]:g}) were made alike and lie a factor of {_factor(values[high] / values[low])} apart: {what}"
        for least, most, keys, what in made
        for low, high in values.groupby(keys).agg(["idxmin", "idxmax"]).to_numpy()
        if least <= values[high] / values[low] < most
    ]


def way_on(response: Response, told: str, tried: bool) -> str:
    """What to do where nothing is known of a scatter, after why (``told``) of a pilot that was run (``tried``)."""
    ways = "name a history file"
    if not tried:
        ways = f"Run a pilot (plan it with `wearbook plan --phase pilot`), {ways}"
    if response.scale == "log":
        ways += f"{'' if tried else ','} or declare a range with declared_cv_pct in [scatter]"
    else:
        ways = ways.replace("), name", ") or name") + " in [scatter]"
    if not tried:
        return f"{told} {ways}."
    between = "\n" if "\n" in told else " "
    return f"{told}{between}Once that is put right the pilot tells it; until then, {ways}."


def two_alike(units: str, tried: bool, *, runs: bool) -> str:
    """What tells the scatter between units (beside that of their runs): what a pilot is to have, or lacks."""
    what = f"two {units} of the same level{' and two runs in each' if runs else ''}"
    if tried:
        add = f"add them to [pilot] of campaign.toml, then {_AMEND} where the pilot is sealed"
        return f"The pilot that was run does not have {what}: {add}."
    return f"Run a pilot with {what}{', so that they and the runs can be told apart' if runs else ''}."


def _factor(ratio: float) -> str:
    """A factor to read: 3.3, 96, 1,000."""
    return f"{ratio:.2g}" if ratio < 10.0 else f"{ratio:,.0f}"
