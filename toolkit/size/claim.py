"""What one plan says about one comparison or term of one response, put together from its numbers (rank 5)."""

from __future__ import annotations

import math
from dataclasses import dataclass

from toolkit import stamp
from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief, Comparison, Response
from toolkit.design import questions
from toolkit.design import terms as model_terms
from toolkit.design.strata import ErrorPart, Strata
from toolkit.numeric import promise
from toolkit.size._claim_numbers import Numbers


@dataclass(frozen=True)
class Claim:
    """What one design says about one comparison or term of one response.

    Attributes
    ----------
    response, comparison, term, contrast : str or None
        Exactly one of comparison and term is filled.
    error_stratum : str
    error_df : float or None
        Of the comparison's own error; None when not estimable.
    power : float or None
        Chance that a difference is shown if the scatter is exactly as estimated (plug-in).
    assurance : float or None
        The same averaged over the doubt in the scatter: this one counts.
    power_at_upper_scatter : float or None
        The same at the 80 % upper limit of the comparison's own error SD; for a declared guess at the upper end of
        its range. Where it reaches the asked power, four campaigns in five keep that power.
    detectable_ratio : float or None
        Smallest change, as a ratio in the direction of the gain, shown with the asked power at the scatter as
        estimated (log scale); ``detectable_change`` in the response's unit on the linear scale.
    assumed_change, worthwhile_change : float or None
        In per cent on the log scale, else in the response's unit.
    outcomes : dict or None
        Chance of each of the six verdicts at the assumed change, averaged over the doubt.
    reached : bool
        Assurance at least the asked power, unrounded; where the brief's aim is a half-width, that instead.
    note : str
    half_width_ratio : float or None
        By how much the interval is expected to reach up and down, as a ratio (x/÷), averaged over the doubt; on the
        linear scale ``half_width`` in the response's unit. None also where the pilot has 1 degree of freedom: its doubt
        has no average.
    exaggeration : float or None
        Mean size of the estimate over the true change, among campaigns that show a difference.
    iron : int or None
        Runs that keep the promise whatever the true scatter is, the pilot's own scatter judging; None without a pilot.
    after_one_lost, after_two_lost : float or None
        Assurance after the loss of one run and of two, averaged over which; None where it was not asked for.
    after_worst_lost : float or None
        Assurance after the loss of the worst one run, which ``note`` names.
    equivalent, no_harm : float or None
        Where in truth nothing changes: the chance that it is shown that no change as large as the worthwhile one is
        there, and that no harm as large is; comparisons only (of an interaction the first).
    """

    response: str
    comparison: str | None
    term: str | None
    contrast: str
    error_stratum: str
    error_df: float | None
    power: float | None
    assurance: float | None
    power_at_upper_scatter: float | None
    detectable_ratio: float | None
    detectable_change: float | None
    assumed_change: float | None
    worthwhile_change: float | None
    outcomes: dict[str, float] | None
    reached: bool
    note: str
    half_width_ratio: float | None = None
    half_width: float | None = None
    exaggeration: float | None = None
    iron: int | None = None
    after_one_lost: float | None = None
    after_two_lost: float | None = None
    after_worst_lost: float | None = None
    equivalent: float | None = None
    no_harm: float | None = None

    def to_dict(self) -> dict[str, object]:
        """The claim for JSON."""
        return stamp.plain(dict(self.__dict__))

    def __repr__(self) -> str:
        """What is claimed of which comparison, and the chances."""
        chances = {"power": self.power, "assurance": self.assurance}
        told = [f"{name} {100 * value:.0f} %" for name, value in chances.items() if value is not None]
        return f"{self.response}, {self.comparison or self.term}: {', '.join(told) or self.note or 'no chance is told'}"


@dataclass(frozen=True, eq=False)
class Asked:
    """One question to a list of strata: what is asked, and the parts of its error in each of them."""

    question: questions.Question
    comparison: Comparison | None
    df: int
    laid: tuple[Strata, ...]
    parts: tuple[tuple[ErrorPart, ...], ...]


def claim_of(
    brief: Brief,
    response: Response,
    asked: Asked,
    at: int,
    gain: float | None,
    margin: float | None,
    numbers: Numbers | None,
    note: str,
    price: int | None,
) -> Claim:
    """One claim from its numbers (None: none can be told).

    Parameters
    ----------
    brief : Brief
    response : Response
    asked : Asked
    at : int
        Which of its strata.
    gain, margin : float or None
        On the analysis scale.
    numbers : dict or None
    note : str
    price : int or None
        Runs of the iron promise.

    Notes
    -----
    Checked against: as ``promise.claims``, which makes its claims here.
    """

    def told(key: str) -> float | None:
        value = None if numbers is None or key not in numbers else float(numbers[key])
        return value if value is not None and math.isfinite(value) else None

    smallest, width = told("detectable"), told("half_width")
    log = response.scale == "log"
    sign = brief_model.gain_sign(response)
    comparison = asked.comparison
    return Claim(
        response=response.name,
        comparison=comparison.name if comparison else None,
        term=None if comparison else model_terms.name_of(asked.question.term or ()),
        contrast=asked.question.contrast,
        error_stratum=" and ".join(_strata_of(asked, at)),
        error_df=told("error_df"),
        power=told("power"),
        assurance=told("assurance"),
        power_at_upper_scatter=told("power_at_upper_scatter"),
        detectable_ratio=math.exp(sign * smallest) if log and smallest is not None else None,
        detectable_change=None if log else smallest,
        assumed_change=_stated(gain, response),
        worthwhile_change=_stated(margin, response),
        outcomes=None
        if numbers is None
        else {name: float(share) for name, share in zip(promise.OUTCOMES, numbers["outcomes"], strict=True)},
        reached=_reached(brief, response, told("assurance"), width),
        note=note,
        half_width_ratio=math.exp(width) if log and width is not None and width < 700.0 else None,
        half_width=None if log else width,
        exaggeration=told("exaggeration") if asked.df == 1 else None,
        iron=price,
        equivalent=told("equivalent"),
        no_harm=None if comparison is None or comparison.interaction else told("no_harm"),
    )


def _reached(brief: Brief, response: Response, assurance: float | None, width: float | None) -> bool:
    """Whether a plan is large enough for a claim, by what the size is chosen for."""
    aimed = brief_model.aimed_half_width(brief, response)
    if aimed is not None:
        return width is not None and width <= aimed
    return (assurance or 0.0) >= brief.power


def _strata_of(asked: Asked, at: int) -> tuple[str, ...]:
    """The strata a question is judged in; where they are not balanced, all with units of their own."""
    judged = asked.laid[at]
    return judged.units if judged.unbalanced else tuple(part.stratum for part in asked.parts[at])


def _stated(gain: float | None, response: Response) -> float | None:
    """A gain as the brief states it: per cent on the log scale, else in the unit."""
    if gain is None or response.scale != "log":
        return gain
    return 100.0 * abs(math.expm1(brief_model.gain_sign(response) * gain))
