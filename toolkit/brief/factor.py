"""What is varied: a factor and its levels (rank 2)."""

from __future__ import annotations

from dataclasses import dataclass

from toolkit import measured_in

CENTRE = "centre"


@dataclass(frozen=True)
class Level:
    """One setting of a factor: its short name, what it means, and its number when the factor is numeric.

    The name of a numeric level is ``number_name(value)``.

    Examples
    --------
    >>> Level("P0", "ground steel").label
    'ground steel'
    """

    name: str
    label: str = ""
    value: float | None = None


@dataclass(frozen=True)
class Factor:
    """A predictor deliberately varied; the first level is the baseline.

    Attributes
    ----------
    name : str
        A plain name; for numeric factors its suffix says what it is measured in.
    undo : str
        What must be undone to change a level: build, part, fill or setting; or position, where parts of several
        levels run side by side in the positions of one engine.
    levels : tuple of Level
        At least two, in order.

    Examples
    --------
    >>> oil = Factor("oil", "fill", (Level("O0", "current"), Level("O1", "new additive system")))
    >>> oil.names, oil.label_of("O1")
    (('O0', 'O1'), 'new additive system')
    """

    name: str
    undo: str
    levels: tuple[Level, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """The level names in order, the baseline first."""
        return tuple(level.name for level in self.levels)

    @property
    def numeric(self) -> bool:
        """True when the levels are numbers."""
        return all(level.value is not None for level in self.levels)

    @property
    def measured_in(self) -> str:
        """The unit of a numeric factor, as people write it; empty otherwise."""
        return measured_in.shown(self.name) if self.numeric else ""

    def label_of(self, level: str) -> str:
        """What a level means, for tables: its label, or its name with the unit; of a centre point its value."""
        if level == CENTRE:
            known = [item.value for item in self.levels if item.value is not None]
            return f"{number_name(sum(known) / len(known))} {self.measured_in}".strip() if known else CENTRE
        found = next((item for item in self.levels if item.name == level), None)
        if found is None:
            # A number that a later phase added.
            return f"{level} {self.measured_in}".strip()
        return found.label or f"{found.name} {self.measured_in}".strip()


def number_name(value: float) -> str:
    """The level name of a number: the shortest text that reads back as it; 3.0 gives '3', 1250.0 gives '1250'."""
    text = repr(float(value) + 0.0)
    return text.removesuffix(".0")
