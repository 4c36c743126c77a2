"""Registers of parts and oil samples: blind codes, and which part goes on which run (rank 5).

Codes are drawn at random, so that they say nothing of treatment or order to whoever measures.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.brief.positions import POSITION, column
from toolkit.design.orders import PHASES
from toolkit.errors import DesignError

# No vowels, so that no code is a word; no letter or digit that is taken for another one.
_LETTERS = "BCDFGHJKMNPQRTVWXYZ"
_DIGITS = "23456789"
_GROUPS = 4
_PART_DIGITS, _SAMPLE_DIGITS = 3, 4
_STREAM = 3


@dataclass(frozen=True, eq=False)
class Register:
    """The parts and samples of a phase.

    Attributes
    ----------
    brief : Brief
    phase : str
    """

    brief: Brief
    phase: str
    _parts: pd.DataFrame
    _samples: pd.DataFrame

    @property
    def parts(self) -> pd.DataFrame:
        """One row a part, sorted by code: part_id, run_id (blank: spare), factors of the part, stations, spare, batch,
        serial; where runs are divided the position too (blank: of the run, or a spare).

        Serial and batch are blank: who issues the parts writes them in, from the shelf, line by line.
        """
        return self._parts.copy()

    @property
    def samples(self) -> pd.DataFrame:
        """One row an oil sample in order of run and hours: sample_id, run_id, at_h, oil_drum (blank)."""
        return self._samples.copy()


def register(brief: Brief, runs: pd.DataFrame, *, seed: int, hours: Sequence[float] | None = None) -> Register:
    """Parts and samples for the runs of a phase, with blind codes, parts allotted to runs at random.

    Parameters
    ----------
    brief : Brief
    runs : DataFrame
        The run list of one phase: run_id, phase and one column per factor.
    seed : int
        No default: the same seed gives the same codes and allotment, another phase gets its own.
    hours : sequence of float, optional
        When oil is sampled, hours into the run. Left out: at the start and at the planned end of the run, which is
        what the run value needs. Not used where no response is read from the oil.

    Returns
    -------
    Register

    Raises
    ------
    DesignError
        When the hours do not fit the run, or more codes are needed than there are.

    Notes
    -----
    Where positions hold parts of their own, each position of a run has one.
    Parts of one kind (the same level of every factor undone with the part) are exchangeable: their codes are drawn
    without replacement and allotted to the runs by a random permutation. One spare is issued for each kind.
    """
    phase = str(runs["phase"].iloc[0])
    draw = np.random.default_rng([seed, PHASES.index(phase), _STREAM])
    kinds, places = _kinds(brief), _places(brief, runs)
    spares = places.drop_duplicates(kinds)[kinds] if kinds else pd.DataFrame(index=[0])
    return Register(brief, phase, *_drawn(brief, runs, places, spares, draw, _hours(brief, hours), frozenset()))


def extended(
    before: Register, runs: pd.DataFrame, brief: Brief, *, seed: Sequence[int], hours: Sequence[float] | None = None
) -> Register:
    """The register of an amended run list: runs that were there keep their codes, further ones get new codes.

    Parameters
    ----------
    before : Register
        Of the run list before.
    runs : DataFrame
        The run list as amended.
    brief : Brief
        As amended.
    seed : sequence of int
        No default: the same seed gives the same codes.
    hours : sequence of float, optional
        As for ``register``.

    Returns
    -------
    Register
        Parts of runs that are no longer planned become spares of their kind; their oil samples are no longer listed.
        A kind of part that is new gets a spare.
    """
    kinds = _kinds(brief)
    parts, samples = before.parts, before.samples
    gone = ~parts["run_id"].isin(["", *runs["run_id"]])
    parts.loc[gone, "run_id"], parts.loc[gone, "spare"] = "", "yes"
    samples = samples[samples["run_id"].isin(runs["run_id"])]
    more = runs[~runs["run_id"].isin(parts["run_id"])]
    known = set(map(tuple, parts[kinds].to_numpy().tolist()))
    places = _places(brief, more)
    spares = places.drop_duplicates(kinds)[kinds] if kinds else pd.DataFrame(index=[])
    spares = spares[[tuple(row) not in known for row in spares.to_numpy().tolist()]]
    if len(more):
        used = frozenset([*before.parts["part_id"], *before.samples["sample_id"]])
        draw = np.random.default_rng(list(seed))
        new_parts, new_samples = _drawn(brief, more, places, spares, draw, _hours(brief, hours), used)
        parts = pd.concat([parts, new_parts[parts.columns]]).sort_values("part_id", ignore_index=True)
        samples = pd.concat([samples, new_samples])
    places = {run: place for place, run in enumerate(runs["run_id"])}
    samples = samples.sort_values("run_id", key=lambda ids: ids.map(places), kind="stable", ignore_index=True)
    return Register(brief, before.phase, parts, samples)


def _kinds(brief: Brief) -> list[str]:
    """The factors that are undone with the part, or lie in a position: parts of the same levels are exchangeable."""
    return [item.name for item in brief.factors if item.undo in ("part", POSITION)]


def _places(brief: Brief, runs: pd.DataFrame) -> pd.DataFrame:
    """Where parts go: run_id, position where runs are divided, and the levels that the part has."""
    if not by_position.divided(brief):
        return runs[["run_id", *_kinds(brief)]]
    inside = by_position.factors(brief)
    whole = [item.name for item in brief.factors if item.undo == "part"]
    rows = []
    for run in runs.to_dict("records"):
        if whole:
            rows.append({"run_id": run["run_id"], POSITION: "", **{name: run[name] for name in whole}})
        for name in brief.positions.names:
            held = {item.name: run[column(item.name, name)] for item in inside}
            rows.append({"run_id": run["run_id"], POSITION: name, **held})
    return pd.DataFrame(rows, columns=["run_id", POSITION, *_kinds(brief)], dtype=object).fillna("")


def _drawn(
    brief: Brief,
    runs: pd.DataFrame,
    places: pd.DataFrame,
    spares: pd.DataFrame,
    draw: np.random.Generator,
    at: Sequence[float],
    used: frozenset[str],
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Parts and samples with codes that nobody has used, for runs and spares."""
    group = PHASES.index(str(runs["phase"].iloc[0]))
    said = [name.casefold() for name in _names(brief)]
    parts = _codes(draw, len(places) + len(spares), _PART_DIGITS, group, said, used)
    # The codes come in random order already; the second draw makes the allotment a draw of its own.
    parts = [parts[place] for place in draw.permutation(len(parts))]
    rows = []
    for run_id, part in zip([*places["run_id"], *([""] * len(spares))], parts, strict=True):
        rows.append({"part_id": part, "run_id": run_id})
    made = pd.DataFrame(rows, dtype=object)
    if by_position.divided(brief):
        made[POSITION] = [*places[POSITION], *([""] * len(spares))]
    for name in _kinds(brief):
        made[name] = [*places[name], *spares[name]]
    made["stations"] = [_ranges(stations_of(brief, line)) for line in made.to_dict("records")]
    made["spare"] = ["no"] * len(places) + ["yes"] * len(spares)
    made["batch"] = ""
    made["serial"] = ""
    made = made.sort_values("part_id", ignore_index=True)
    codes = iter(_codes(draw, len(runs) * len(at), _SAMPLE_DIGITS, group, said, used))
    samples = [
        {"sample_id": next(codes), "run_id": run_id, "at_h": f"{hour:g}", "oil_drum": ""}
        for run_id in runs["run_id"]
        for hour in at
    ]
    columns = ["sample_id", "run_id", "at_h", "oil_drum"]
    return made, pd.DataFrame(samples, columns=columns, dtype=object)


def station_ids(brief: Brief) -> dict[str, tuple[str, ...]]:
    """The ids of the stations of each kind: the first three letters of the kind and a number, 'SEG01'."""
    counts: dict[str, int] = {}
    for response in brief.responses:
        if response.stations is not None:
            kind = response.stations.kind
            counts[kind] = max(counts.get(kind, 0), response.stations.count)
    return {
        kind: tuple(f"{kind[:3].upper()}{place + 1:02d}" for place in range(count)) for kind, count in counts.items()
    }


def stations_of(brief: Brief, part: Mapping[str, object]) -> dict[str, tuple[str, ...]]:
    """The stations of a part of the register by kind: all of them, or those in its position; of a spare for a position
    those of the first one.

    Parameters
    ----------
    brief : Brief
    part : mapping
        A line of the register.
    """
    every = station_ids(brief)
    if not by_position.divided(brief):
        return every
    inside = [item.name for item in by_position.factors(brief)]
    if not any(part[name] for name in inside):
        return {}
    lies = by_position.where_stations_lie(brief)
    place = part[POSITION] or brief.positions.names[0]
    return {kind: tuple(name for name in ids if lies[name] == place) for kind, ids in every.items()}


def _ranges(stations: Mapping[str, tuple[str, ...]]) -> str:
    """Stations in words: 'SEG01 to SEG10; LIN01'."""
    return "; ".join(f"{ids[0]} to {ids[-1]}" if len(ids) > 1 else ids[0] for ids in stations.values())


def _hours(brief: Brief, given: Sequence[float] | None) -> tuple[float, ...]:
    """When oil is sampled; nothing where no response is read from the oil."""
    asked = [item for item in brief.responses if item.source == "oil"]
    if not asked:
        return ()
    run = brief.protocol.run_time_h
    if given is None:
        if run is None:
            raise DesignError(
                "The brief does not say how long a run lasts ([protocol] run_time_h), so the last oil sample has no "
                "hour. Add it, or give the hours of all samples."
            )
        return (0.0, run.target)
    hours = tuple(sorted({float(hour) for hour in given}))
    last = run.window[1] if run else np.inf
    if not hours or not np.isfinite(hours).all() or hours[0] < 0 or hours[-1] > last:
        told = f" to {last:g}" if run else " or more"
        raise DesignError(
            f"The oil samples are asked for at {', '.join(f'{hour:g}' for hour in given) or 'no'} h; expected hours "
            f"from 0{told}."
        )
    lacking = [item.name for item in asked if item.per_run == "increase"] if hours[0] > 0 or len(hours) < 2 else []
    if lacking:
        raise DesignError(
            f"The oil samples are asked for at {', '.join(f'{hour:g}' for hour in hours)} h, but the increase of "
            f"{', '.join(lacking)} needs the sample at 0 h and a later one. Add them."
        )
    return hours


def _names(brief: Brief) -> list[str]:
    """Names that a code must not contain: factors, levels and what they mean, of two characters or more."""
    found = [
        word
        for item in brief.factors
        for word in (item.name, *(name for level in item.levels for name in (level.name, level.label)))
    ]
    return [word for word in found if len(word) > 1]


def _codes(
    draw: np.random.Generator, count: int, digits: int, group: int, said: Sequence[str], used: frozenset[str]
) -> list[str]:
    """Different codes of two letters and digits, in random order; each phase has first letters of its own."""
    first = _LETTERS[group % _GROUPS :: _GROUPS]
    room = len(first) * len(_LETTERS) * len(_DIGITS) ** digits
    if count + len(used) > room // 4:
        told = f"{count + len(used):,} codes are needed; there are {room // 4:,} for one phase. Plan fewer runs."
        raise DesignError(told)
    found: dict[str, None] = {}
    while len(found) < count:
        code = first[draw.integers(len(first))] + _LETTERS[draw.integers(len(_LETTERS))]
        code += "".join(_DIGITS[place] for place in draw.integers(len(_DIGITS), size=digits))
        if code not in used and not any(word in code.casefold() for word in said):
            found[code] = None
    return list(found)
