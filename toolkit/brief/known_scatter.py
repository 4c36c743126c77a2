"""Scatter known before the campaign (rank 2)."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class KnownScatter:
    """Scatter known before the campaign: a guess as a range of CV, and earlier campaigns.

    Attributes
    ----------
    declared_cv_pct : tuple of float or None
    declared_run_cv_pct : tuple of float or None
        Where positions hold parts of their own: the range of CV between runs, beside that of positions within a run.
    history : str or None
        A table of earlier campaigns in the folder of the campaign.
    campaigns : tuple of str
        Folders of finished campaigns, from the folder of the campaign ('../chain-2025').
    rig : str
        Which rig, and since when it is as it is; campaigns that name another one do not count.
    """

    declared_cv_pct: tuple[float, float] | None = None
    history: str | None = None
    campaigns: tuple[str, ...] = ()
    rig: str = ""
    declared_run_cv_pct: tuple[float, float] | None = None
