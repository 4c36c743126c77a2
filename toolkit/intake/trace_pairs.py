"""Two traces of one station brought together, and the one figure that is taken from them (rank 6)."""

from __future__ import annotations

from dataclasses import dataclass

from toolkit.brief.metrology import Traces
from toolkit.errors import IntakeError
from toolkit.intake.trace_files import Trace
from toolkit.numeric import trace_takes, traces
from toolkit.numeric.trace_takes import Taken
from toolkit.numeric.traces import Aligned


@dataclass(frozen=True, eq=False)
class Pair:
    """One station before and after, brought together; ``aligned`` is None where ``note`` says why they cannot be."""

    rule: Traces
    before: Trace
    after: Trace
    aligned: Aligned | None
    taken: Taken | None
    note: str

    @property
    def run_id(self) -> str:
        """The run the part ran in."""
        return self.after.run_id


def pair(rule: Traces, before: Trace, after: Trace) -> Pair:
    """Two traces brought together, or why they cannot be."""
    try:
        aligned = aligned_of(rule, before, after)
        zone = None if rule.worn is None else (float(rule.worn[0]), float(rule.worn[1]))
        what = "area" if rule.take == "volume" else rule.take
        taken = trace_takes.take(aligned, what, zone=zone, positions=rule.positions)
    except IntakeError as problem:
        why = "; ".join(line.strip().rstrip(".") for line in str(problem).splitlines()[1:])
        return Pair(rule, before, after, None, None, why)
    return Pair(rule, before, after, aligned, taken, "; ".join(aligned.notes))


def aligned_of(rule: Traces, before: Trace, after: Trace, *, turned: bool = False) -> Aligned:
    """Two traces brought together; ``turned``: the one after from end to end."""
    at, height = after.position, after.height
    if turned:
        at, height = (at[0] + at[-1] - at)[::-1], height[::-1]
    return traces.align(before.position, before.height, at, height, rule.reference, moves=rule.may_move)
