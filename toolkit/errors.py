"""Every error and warning class of the toolkit, and the one shape in which several faults are told at once.

Rank 0: imports nothing of the toolkit.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

SHOWN_AT_MOST = 20


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong in what a person gave us.

    Attributes
    ----------
    where : str
        File and line, or sheet and cell, or the key of the brief.
    found : str
        What stands there.
    expected : str
        What would have been accepted.
    remedy : str
        What to do about it; may be empty when ``expected`` already says it.
    """

    where: str
    found: str
    expected: str
    remedy: str = ""

    def __str__(self) -> str:
        """One sentence a line: where, what was found, what was expected, what to do."""
        text = f"{self.where}: {self.found}; expected {self.expected}."
        return f"{text} {self.remedy}" if self.remedy else text


class WearbookError(Exception):
    """The base of every error that is meant for the person at the bench; its text is the whole message.

    ``faults`` are those that its text lists, all of them, where it is a list of faults.
    """

    exit_code = 1
    faults: tuple[Fault, ...] = ()

    def _render_traceback_(self) -> list[str]:
        """What a notebook shows of it: the message, without the way through the program that led to it."""
        more = [line for tell in _MORE if (line := tell(self))]
        return [*(str(self).splitlines() or [type(self).__name__]), *more]


# What knows the guide lies above this module, and says so here when it is there.
_MORE: list[Callable[[WearbookError], str]] = []


def tell_more(tell: Callable[[WearbookError], str]) -> None:
    """Have notebooks show below an error the line that ``tell`` gives for it: where more is said of it."""
    _MORE[:] = [tell]


class BriefError(WearbookError):
    """The brief (campaign.toml, or a Brief built in Python) is not in order."""


class DesignError(WearbookError):
    """The design asked for cannot be built, or is not covered."""


class SizingError(WearbookError):
    """The runs cannot be sized from what is known."""


class IntakeError(WearbookError):
    """The records are not in order."""


class ModelError(WearbookError):
    """The analysis asked for cannot be made from these records."""


class CampaignError(WearbookError):
    """The campaign folder is not in the state that the step needs."""


class UseError(WearbookError):
    """The command was asked for something it does not know."""

    exit_code = 2


class NotebookError(WearbookError):
    """A notebook did not run to its end."""

    exit_code = 3


class StorageError(WearbookError):
    """Writing failed, or another command holds the folder."""

    exit_code = 4


class IntegrityError(WearbookError):
    """Sealed or received bytes are not what they were."""

    exit_code = 5


# Words of the shop for ours, where the letters alone would lead to another one, or to none.
_MEANT = {"void": "invalid", "bad": "invalid", "ok": "valid", "good": "valid"}


def nearest(word: str, allowed: Sequence[str]) -> str:
    """The remedy 'Did you mean ...?' for a name that is not among ``allowed``; empty when none is near."""
    lower = {name.casefold(): name for name in allowed}
    meant = _MEANT.get(word.casefold())
    near = [meant] if meant in lower else get_close_matches(word.casefold(), list(lower), n=1, cutoff=0.6)
    return f"Did you mean '{lower[near[0]]}'?" if near else ""


def listing(names: Sequence[object]) -> str:
    """Names for a message: ``'a', 'b' or 'c'``."""
    quoted = [f"'{name}'" for name in names]
    if len(quoted) < 2:
        return quoted[0] if quoted else "nothing"
    return f"{', '.join(quoted[:-1])} or {quoted[-1]}"


def raise_all(error: type[WearbookError], headline: str, faults: Sequence[Fault]) -> None:
    """Raise ``error`` with every fault on a line of its own (at most 20, then a count); no faults, no error.

    Raises
    ------
    WearbookError
        The class given, when ``faults`` is not empty.
    """
    if not faults:
        return
    lines = [headline, *(f"  {fault}" for fault in faults[:SHOWN_AT_MOST])]
    if len(faults) > SHOWN_AT_MOST:
        lines.append(f"  ... and {len(faults) - SHOWN_AT_MOST} more.")
    refused = error("\n".join(lines))
    refused.faults = tuple(faults)
    raise refused
