"""What was odd in a file of a recording, in findings: nothing is left out silently (rank 6)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from toolkit.intake.gathered import Finding, finding
from toolkit.wording import counted


def findings(
    name: str,
    run_id: str,
    odd: Mapping[str, Sequence[int]],
    untimed: Sequence[int],
    skipped: Sequence[int],
    broken: str,
) -> tuple[Finding, ...]:
    """What was odd in a file, a finding each kind.

    Parameters
    ----------
    name : str
        Of the file.
    run_id : str
    odd : mapping of str to list of int
        Heading to the lines whose cell in it is neither blank nor a figure.
    untimed, skipped : list of int
        Lines without a time, and those with more or fewer cells.
    broken : str
        How the file breaks off; '' where it does not.
    """
    made = [
        finding(
            "note",
            "recording",
            run_id=run_id,
            column=heading,
            found=f"{counted(len(lines), 'cell')} without a figure in it ({_places(name, lines)})",
            expected="figures",
            action="none: these readings are left out",
        )
        for heading, lines in odd.items()
    ]
    if untimed:
        made.append(
            finding(
                "note",
                "recording",
                run_id=run_id,
                found=f"{counted(len(untimed), 'line')} without a time ({_places(name, untimed)})",
                expected="a time in each line",
                action="none: these lines are left out",
            )
        )
    if skipped:
        made.append(
            finding(
                "note",
                "recording",
                run_id=run_id,
                found=f"{counted(len(skipped), 'line')} with more or fewer cells ({_places(name, skipped)})",
                expected="as many cells as headings",
                action="none: these lines are left out",
            )
        )
    if broken:
        made.append(
            finding(
                "note",
                "recording",
                run_id=run_id,
                found=f"{name}: {broken}",
                expected="a file that was closed",
                action="none: what was whole is used; look for the rest of the recording",
            )
        )
    return tuple(made)


def _places(name: str, lines: Sequence[int]) -> str:
    """The first lines, and how many more."""
    shown = ", ".join(map(str, lines[:3]))
    more = f" and {len(lines) - 3} more" if len(lines) > 3 else ""
    return f"{name} line {shown}{more}"
