"""What an extension adds to the runs before it, in words: what is told, what stands clear, df of error (rank 3)."""

from __future__ import annotations

from dataclasses import dataclass

from toolkit.design import alias_words, base
from toolkit.design import terms as model_terms
from toolkit.design.alias_words import AliasLine
from toolkit.design.strata import Strata
from toolkit.design.terms import CURVATURE
from toolkit.wording import counted, joined

_WRITTEN_OUT = 12
_CHAINS = 4


@dataclass(frozen=True)
class Gain:
    """What runs tell together that those before did not.

    Attributes
    ----------
    clear : tuple of str
        Effects that stand clear of every main effect and interaction of two now, and did not before.
    told : tuple of str
        Effects that can be told now, though not clear, and could not before.
    shared : tuple of str
        Alias chains that are left, main effects and interactions of two only.
    lost : tuple of str
        Effects that stood clear before and do not now (a term that was taken as nil reaches them).
    df_before, df_after : dict of str to int
        Unit to its degrees of freedom of error.
    sentences : tuple of str
    """

    clear: tuple[str, ...]
    told: tuple[str, ...]
    shared: tuple[str, ...]
    lost: tuple[str, ...]
    df_before: dict[str, int]
    df_after: dict[str, int]
    sentences: tuple[str, ...]


def gain(before: Strata, after: Strata) -> Gain:
    """What is gained by runs that come beside others.

    Parameters
    ----------
    before : Strata
        Of the runs of the phases before.
    after : Strata
        Of those and the runs that come on top.

    Returns
    -------
    Gain

    Notes
    -----
    Each alias table is that of ``alias_words.of_strata``, over exactly these runs with the blocks taken out.

    Checked against: chains of k05-bike-2-7-4-foldover, tests/reference/test_extended_cases.py.
    """
    old, new = (_lines(laid) for laid in (before, after))
    clear_before = {name for name, line in old.items() if line.clear}
    told_before = {name for name, line in old.items() if line.estimable}
    if not base.part(before.brief):
        clear_before = told_before
    clear_after = [name for name, line in new.items() if line.clear or (line.estimable and not base.part(after.brief))]
    clear = tuple(name for name in clear_after if name not in clear_before)
    told = tuple(
        name for name, line in new.items() if line.estimable and name not in told_before and name not in clear
    )
    shared = tuple(line.chain for line in new.values() if line.estimable and line.others) * base.part(after.brief)
    lost = tuple(name for name in clear_before if name in new and name not in clear_after)
    dfs = [_dfs(laid) for laid in (before, after)]
    return Gain(clear, told, shared, lost, *dfs, _sentences(before, after, clear, told, shared, lost, dfs))


def _sentences(
    before: Strata,
    after: Strata,
    clear: tuple[str, ...],
    told: tuple[str, ...],
    shared: tuple[str, ...],
    lost: tuple[str, ...],
    dfs: list[dict[str, int]],
) -> tuple[str, ...]:
    """The gain as sentences."""
    added = len(after.runs) - len(before.runs)
    blocks = f" in {counted(int(after.runs['build_id'].nunique()), 'block')}" if after.blocked else ""
    said = [f"Judged together: {counted(len(before.runs), 'run')} and {added} further{blocks}."]
    of_effects = " of every other main effect and every interaction of two" if base.part(after.brief) else ""
    if clear:
        what = f"stand clear{of_effects}" if of_effects else "can be told"
        said.append(f"With the further runs {what}, and without them not: {_listed(clear)}.")
    if told:
        said.append(f"Told only with the further runs, though not by itself: {_listed(told)}.")
    if base.with_axial_points(after.brief):
        said.append("Squares of every factor are told: the runs are a central composite with the phases as blocks.")
    if not clear and not told and not base.with_axial_points(after.brief):
        said.append("No effect is told that was not told before; what is told is told more closely.")
    if lost:
        said.append(f"In part no longer clear, since what is left out of the model differs between phases: "
                    f"{_listed(lost)}.")  # fmt: skip
    if shared:
        more = f"; and {len(shared) - _CHAINS} more" if len(shared) > _CHAINS else ""
        said.append(f"Still told under one name: {'; '.join(shared[:_CHAINS])}{more}.")
    for unit in dfs[1]:
        was = dfs[0].get(unit, 0)
        said.append(f"Degrees of freedom of error between {unit}s: {was} before, {dfs[1][unit]} after.")
    return tuple(said)


def _lines(laid: Strata) -> dict[str, AliasLine]:
    """Term by name to its line of the alias table, in the order of the model."""
    return {model_terms.name_of(line.term): line for line in alias_words.of_strata(laid) if line.term != CURVATURE}


def _dfs(laid: Strata) -> dict[str, int]:
    """Unit to its degrees of freedom of error, of those that judge something."""
    return {item.name: item.error_df for item in laid.strata if item.error_df is not None and item.terms}


def _listed(names: tuple[str, ...]) -> str:
    """Names, the first dozen and a count."""
    shown = list(names[:_WRITTEN_OUT])
    more = len(names) - len(shown)
    return ", ".join(shown) + f" and {more} more" if more else joined(shown)
