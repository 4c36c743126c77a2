"""Any plan checked by simulating its campaign: what was promised beside what thousands of campaigns show (rank 5).

Campaigns are drawn from the scatter that the plan was sized with, under stated conditions, and analysed as the toolkit
analyses real ones. Where nothing happens that the plan does not foresee the promise must come out again; where it does
not, the simulation decides.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from toolkit import parallel, stamp
from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief, Comparison
from toolkit.design import questions
from toolkit.design.strata import Strata
from toolkit.errors import SizingError
from toolkit.numeric import shares
from toolkit.numeric.promise import OUTCOMES
from toolkit.size import _drawing as drawing
from toolkit.size import _simulated_words as words
from toolkit.size import conditions as size_conditions
from toolkit.size import promise
from toolkit.size._answer import Answer, Counted
from toolkit.size._counting import Counts, counted
from toolkit.size._judging import Judging
from toolkit.size._share import Share
from toolkit.size.claim import Claim
from toolkit.size.conditions import Conditions
from toolkit.size.scatter import Scatter
from toolkit.wording import filled

CAMPAIGNS = 5_000
CONF_LEVEL = 0.95
_EACH = 500
# The seed of every simulation of a brief begins with this, so that its plans and its simulations differ.
_PLACE = 7_301


@dataclass(frozen=True, eq=False)
class Simulated:
    """A plan under one set of conditions.

    Attributes
    ----------
    plan : str
    response : str
    conditions : Conditions
    campaigns : int
        Simulated for the scatter as estimated, and as many again over the pilot's doubt.
    layouts : int
        Different sets of runs left; 1 where none is lost.
    answers : tuple of Answer
        One a comparison.
    sentences : tuple of str
    seconds : float
        Wall time; not in ``to_json``, which is the same for every machine.
    """

    plan: str
    response: str
    conditions: Conditions
    campaigns: int
    layouts: int
    answers: tuple[Answer, ...]
    sentences: tuple[str, ...]
    seconds: float

    @property
    def table(self) -> pd.DataFrame:
        """One row a comparison, in per cent: worked out, simulated, their gap, false alarms, coverage, verdicts."""
        return pd.DataFrame([words.line(answer) for answer in self.answers])

    def to_json(self) -> dict[str, object]:
        """The whole as plain data."""
        made = {
            "plan": self.plan,
            "response": self.response,
            "conditions": dict(self.conditions.__dict__),
            "campaigns": self.campaigns,
            "conf_level": CONF_LEVEL,
            "layouts": self.layouts,
            "answers": [_answer_json(answer) for answer in self.answers],
            "sentences": list(self.sentences),
        }
        return stamp.plain(made)

    def __repr__(self) -> str:
        """The sentences and the table as text."""
        return "\n".join([*self.sentences, filled(self.table).to_string(index=False)])

    def _repr_html_(self) -> str:
        """The sentences and the table."""
        told = pd.DataFrame({f"simulated {self.conditions.name}": self.sentences}).to_html(index=False, escape=True)
        return told + filled(self.table).to_html(index=False, escape=True)


def simulated(
    brief: Brief,
    laid: Strata,
    scatter: Scatter,
    *,
    plan: str,
    campaigns: int = CAMPAIGNS,
    conditions: Conditions | None = None,
    seed: int | None = None,
    engine: str = "auto",
    processes: int | None = None,
    progress: Callable[[int, int], None] | None = None,
) -> Simulated:
    """What a plan would show of every comparison, by simulating its campaign and analysing it as a real one.

    Parameters
    ----------
    brief : Brief
    laid : Strata
        The runs of the plan, and those of other phases that count beside them.
    scatter : Scatter
        Of one response; what the plan is sized with.
    plan : str
        Its name.
    campaigns : int
        At least 100.
    conditions : Conditions, optional
        Left out: nothing happens that the plan does not foresee.
    seed : int, optional
        Left out: the brief's.
    engine, processes, progress
        As in ``parallel.run_many``; the result is the same for any number of processes.

    Returns
    -------
    Simulated

    Raises
    ------
    SizingError
        When the scatter of a unit of the plan is not known, a condition is out of range or does not fit the plan, or no
        worthwhile change is stated.

    Notes
    -----
    Run values are normal on the analysis scale; with stations they are what ``per_run`` makes of normal stations.
    Lost runs are lost at random and not made up for. Comparisons of a family are judged as they are sized: one by one
    at alpha over their number.

    Checked against: what is worked out, within three standard errors (and .03 beside that where two kinds of units are
    left unbalanced), tests/unit/size/test_simulate.py; 20,000 campaigns, tests/numbers/simulated.py.
    """
    asked = conditions or Conditions()
    start = time.perf_counter()
    _refuse(brief, laid, asked, campaigns)
    # What is not known is told before anything is drawn.
    drawing.multipliers(scatter, laid)
    drawing.draw(laid, scatter.response, np.ones((1, len(laid.units))), asked, np.random.default_rng(0))
    chosen = _questions(brief, laid, scatter)
    judging = Judging(laid, np.array([question.row for question, _, _ in chosen]))
    alphas = [promise.judged_at(laid, question.comparison)[0] for question, _, _ in chosen]
    whole = Share(
        judging,
        scatter.response,
        scatter,
        asked,
        np.array([gain for _, gain, _ in chosen]),
        np.array([margin for _, _, margin in chosen]),
        1.0 - np.array(alphas),
        campaigns,
        False,
    )
    sizes = [min(_EACH, campaigns - at) for at in range(0, campaigns, _EACH)]
    items = [replace(whole, campaigns=size, doubt=doubt) for doubt in (False, True) for size in sizes]
    found = parallel.run_many(
        counted,
        items,
        seed=[brief.seed if seed is None else seed, _PLACE],
        engine=engine,
        processes=processes,
        progress=progress,
        named=lambda item: f"{plan}, {asked.name}",
    )
    estimated, doubted = _sum(found[: len(sizes)]), _sum(found[len(sizes) :])
    told = {claim.comparison: claim for claim in promise.of_strata(scatter, [laid], [None])[0] if claim.comparison}
    answers = tuple(
        _answer(at, question.comparison, question.contrast, alpha, campaigns, estimated, doubted, told)
        for at, ((question, _, _), alpha) in enumerate(zip(chosen, alphas, strict=True))
    )
    layouts = estimated.layouts if asked.lost_share else 1
    sentences = words.sentences(answers, asked, campaigns)
    if asked.lost_share and len(laid.units) > 2:
        sentences = (*sentences, words.FEW_LAYOUTS)
    spent = time.perf_counter() - start
    return Simulated(plan, scatter.response.name, asked, campaigns, layouts, answers, sentences, spent)


def _refuse(brief: Brief, laid: Strata, asked: Conditions, campaigns: int) -> None:
    """Stop for what cannot be simulated."""
    size_conditions.check(asked)
    if not 100 <= campaigns <= 10_000_000:
        raise SizingError(f"{campaigns} campaigns were asked for; expected 100 to 10,000,000.")
    if not brief.comparisons:
        raise SizingError(
            "no comparison stands in campaign.toml, so there is nothing to simulate an answer to. Add a [[comparison]]."
        )
    if asked.covariate_share and asked.covariate_known and laid.plots:
        raise SizingError(
            "a covariate is not taken out in simulations where units of several runs carry a factor; the analysis of a "
            "campaign does it. Leave the covariate out of what is simulated."
        )
    if asked.below_share and (laid.plots or asked.lost_share or (asked.covariate_share and asked.covariate_known)):
        raise SizingError(
            "values below a limit are simulated where all runs are judged by each other, none is lost and no covariate "
            "is taken out. Simulate one of these at a time."
        )


def _questions(brief: Brief, laid: Strata, scatter: Scatter) -> list[tuple[questions.Question, float, float]]:
    """Every comparison with its true and its worthwhile change on the analysis scale."""
    made = []
    for comparison in brief.comparisons:
        gain = brief_model.assumed(brief, comparison, scatter.response)
        margin = brief_model.worthwhile(brief, comparison, scatter.response)
        if gain is None or margin is None:
            raise SizingError(
                f"{comparison.name}: no worthwhile change is stated for {scatter.response.name}, so there is no true "
                f"change to simulate. State it in campaign.toml."
            )
        made.append((questions.of_comparison(brief, comparison, laid.terms), gain, margin))
    return made


def _sum(parts: Sequence[Counts]) -> Counts:
    """All parts together."""
    total = parts[0]
    for part in parts[1:]:
        total = total.plus(part)
    return total


def _answer(
    at: int,
    comparison: Comparison,
    contrast: str,
    alpha: float,
    campaigns: int,
    estimated: Counts,
    doubted: Counts,
    told: dict[str, Claim],
) -> Answer:
    """One comparison from the counts."""
    judged = int(estimated.judged[at])
    claim = told[comparison.name]
    return Answer(
        comparison.name,
        contrast,
        claim.assumed_change,
        alpha,
        _share(estimated.shown[at], campaigns),
        _share(doubted.shown[at], campaigns),
        _share(estimated.alarms[at], campaigns),
        _share(estimated.covered[at], judged) if judged else None,
        _share(estimated.wrong_way[at], campaigns),
        _share(estimated.shown_wrong_way[at], campaigns),
        _share(campaigns - doubted.judged[at], campaigns),
        {name: _share(doubted.verdicts[at, place], campaigns) for place, name in enumerate(OUTCOMES)},
        claim if claim.power is not None else None,
    )


def _share(count: int, of: int) -> Counted:
    """A share with its limits."""
    low, high = shares.limits(count, of, conf_level=CONF_LEVEL)
    return Counted(float(count) / of, float(low), float(high))


def _answer_json(answer: Answer) -> dict[str, object]:
    """One comparison as plain data."""
    made: dict[str, object] = {
        "comparison": answer.comparison,
        "contrast": answer.contrast,
        "assumed_change": answer.assumed_change,
        "alpha": answer.alpha,
    }
    for key in words.SHARES:
        share = getattr(answer, key)
        made[key] = None if share is None else dict(share.__dict__)
    made["verdicts"] = {name: dict(share.__dict__) for name, share in answer.verdicts.items()}
    made["worked_out"] = {key: getattr(answer.told, key, None) for key in ("power", "assurance")}
    made["gap"] = {key: answer.gap(key) for key in ("power", "assurance")}
    return made
