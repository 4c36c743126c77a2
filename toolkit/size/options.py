"""Plans side by side: what each number of builds and replicates costs and can show, and which one to book (rank 5)."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass

import pandas as pd

from toolkit import stamp
from toolkit.brief.model import Brief
from toolkit.design import in_builds, optimal
from toolkit.design.design import Design
from toolkit.errors import SizingError, listing, nearest
from toolkit.size import _further_words as further_words
from toolkit.size import _goals as goals
from toolkit.size import _leaner as leaner
from toolkit.size import _option_words as option_words
from toolkit.size import _reach as reach
from toolkit.size import _ways_out as ways_out
from toolkit.size import best_of, candidates, family_claims, money, promise, ratio_asked
from toolkit.size._option_words import MOST_RUNS, chance
from toolkit.size._outdone import is_outdone
from toolkit.size.advised import Advice
from toolkit.size.habit_cost import HabitCost
from toolkit.size.money import Price
from toolkit.size.option import Option
from toolkit.size.scatter import Scatter

__all__ = ["MOST_OPTIONS", "MOST_RUNS", "Option", "Options", "chance", "options", "summary"]

MOST_OPTIONS = 24
_BEYOND_BUDGET = 2
_Priced = list[tuple[Design, Price]]


@dataclass(frozen=True, eq=False)
class Options:
    """The plans side by side, the scatter they rest on, and the one to book.

    Attributes
    ----------
    brief : Brief
    scatters : tuple of Scatter
        One a response.
    options : tuple of Option
        By number of runs, then builds; plans that are outdone are left out, and of many a spread.
    recommended : Option or None
        Of the plans within the budget the cheapest that reaches the asked power for every comparison of the primary
        response, and every choice of the best, that any of them reaches (never a single build where builds are
        blocks); None when none reaches one. Where plans reach different ones, the cheapest of those that reach most.
    sentence : str
        What the money can and cannot find, to be read out.
    notes : tuple of str
    phase : str
        main, or extension: its plans stand beside the main phase as it is, and show what both together show.
    judged, outdone : int
        How many plans were judged; how many of them cost as much as another one that shows all that they show, or
        more.
    advice : Advice or None
        What is said beside the plans; None where it was not asked for.
    habits : HabitCost or None
        What other ways of testing would claim wrongly; None where it was not asked for or cannot be told.
    why : tuple of str
        Where a promise is out of reach: why this plan is advised and not a larger one that the budget pays for (what
        that brings, and for how much more), and the cheapest plan that keeps each promise. Empty where all are kept.
    """

    brief: Brief
    scatters: tuple[Scatter, ...]
    options: tuple[Option, ...]
    recommended: Option | None
    sentence: str
    notes: tuple[str, ...]
    phase: str = "main"
    judged: int = 0
    outdone: int = 0
    advice: Advice | None = None
    habits: HabitCost | None = None
    why: tuple[str, ...] = ()

    @property
    def scatter(self) -> pd.DataFrame:
        """The scatter lines of every response."""
        tables = [item.table for item in self.scatters]
        if any("bound" in table for table in tables):
            tables = [table if "bound" in table else table.assign(bound=False, sd_at_least=None) for table in tables]
        return pd.concat(tables, ignore_index=True)

    @property
    def table(self) -> pd.DataFrame:
        """One row a claim of a plan, with name, runs, builds, hours and cost of the plan before it."""
        return pd.DataFrame(
            [
                {
                    "name": option.name,
                    "runs": option.design.runs,
                    "builds": option.design.builds,
                    "hours": option.price.hours,
                    "cost": option.price.cost,
                    "within_budget": option.within_budget,
                    **{key: value for key, value in claim.__dict__.items() if key != "outcomes"},
                    **(claim.outcomes or {}),
                }
                for option in self.options
                for claim in option.claims
            ]
        )

    @property
    def picks(self) -> pd.DataFrame:
        """One row a choice of the best level of a plan; name, runs, builds, hours and cost of the plan before it."""
        return pd.DataFrame(
            [
                {
                    "name": option.name,
                    "runs": option.design.runs,
                    "builds": option.design.builds,
                    "hours": option.price.hours,
                    "cost": option.price.cost,
                    "within_budget": option.within_budget,
                    **pick.__dict__,
                }
                for option in self.options
                for pick in option.picks
            ]
        )

    def to_json(self) -> dict[str, object]:
        """The whole as plain data: scatter[], options[] with claims[], recommended, sentence, notes[]."""
        return stamp.plain(
            {
                "campaign": self.brief.id,
                "phase": self.phase,
                "alpha": self.brief.alpha,
                "power": self.brief.power,
                "currency": self.brief.cost.currency,
                "budget": self.brief.cost.budget,
                "scatter": stamp.records(self.scatter),
                "options": [
                    {
                        "name": option.name,
                        "runs": option.design.runs,
                        "builds": option.design.builds,
                        "hours": option.price.hours,
                        "cost": option.price.cost,
                        "hours_as_planned": option.price.hours_as_planned,
                        "cost_as_planned": option.price.cost_as_planned,
                        "expected_lost_runs": option.price.expected_lost_runs,
                        "within_budget": option.within_budget,
                        "claims": [claim.to_dict() for claim in option.claims],
                        "picks": [pick.to_dict() for pick in option.picks],
                        "families": [claim.to_dict() for claim in option.families],
                    }
                    for option in self.options
                ],
                "plans_judged": self.judged,
                "plans_outdone": self.outdone,
                "advice": None if self.advice is None else self.advice.to_json(),
                "habit_cost": None if self.habits is None else self.habits.to_json(),
                "recommended": self.recommended.name if self.recommended else None,
                "sentence": self.sentence,
                "why": list(self.why),
                "notes": list(self.notes),
            }
        )

    def option(self, name: str) -> Option:
        """The plan called ``name``.

        Raises
        ------
        SizingError
            When no plan is called so; the names are told.
        """
        for item in self.options:
            if item.name == name:
                return item
        names = [item.name for item in self.options]
        near = nearest(name, names)
        raise SizingError(f"plan '{name}': there is no such plan; expected {listing(names)}. {near}".rstrip())

    def __repr__(self) -> str:
        """The sentence and the plans as text."""
        return f"{self.sentence}\n{summary(self).to_string(index=False)}"

    def _repr_html_(self) -> str:
        """The sentence and the plans as a table."""
        table = summary(self)
        large = {name: "{:,}".format for name in table.columns if name == "hours" or name.startswith("cost (")}
        shown = table.to_html(index=False, escape=True, formatters=large)
        return f"<p>{html.escape(self.sentence)}</p>{shown}"


def options(
    brief: Brief, scatters: Sequence[Scatter], *, also: Design | None = None, standing: pd.DataFrame | None = None
) -> Options:
    """Plans of the brief's design side by side, for every response whose scatter is known.

    Parameters
    ----------
    brief : Brief
    scatters : sequence of Scatter
        From ``size.scatter.known``, the primary response's among them.
    also : Design, optional
        A design that is to stand among the plans whatever it costs, such as the one chosen.
    standing : DataFrame, optional
        The runs that count already (phase, build_id and the factors): the plans are then those of the extension, and
        their claims are what both together show.

    Returns
    -------
    Options

    Raises
    ------
    SizingError
        When not one plan fits the budget, or the primary response's scatter is missing.

    Examples
    --------
    What sixteen runs without a pilot leave unknown:

    >>> import tempfile
    >>> from toolkit.demo import bundled
    >>> with tempfile.TemporaryDirectory() as place:
    ...     campaign = bundled.bring("sprocket-build", place, phases=("main",))
    ...     records = campaign.records()
    >>> from toolkit.campaign import sizing
    >>> scatters, _ = sizing.known(campaign, records)
    >>> made = options(campaign.brief, scatters)
    >>> for item in made.options[:2]:
    ...     print(f"{item.name}: {item.price.cost:,.0f} {campaign.brief.cost.currency}")
    full factorial, 4 builds as units, 2 runs in each: 52,800 EUR
    full factorial, 6 builds as units, 2 runs in each: 79,200 EUR
    >>> made.sentence.split(". ")[1]
    'Run a pilot with two builds of the same level and two runs in each, so that they and the runs can be told apart.'
    """
    primary = next(item for item in brief.responses if item.role == "primary")
    if not any(item.response.name == primary.name for item in scatters):
        raise SizingError(
            f"{primary.name}: the scatter of the primary response is not known, so nothing can be sized. Run a pilot, "
            f"or declare a range with declared_cv_pct in [scatter]."
        )
    proposed = candidates.of_brief(brief) if standing is None else candidates.of_extension(brief)
    near, far = _within_reach(brief, proposed, also)
    made = _judged(brief, near, scatters, standing)
    aim = None if standing is None or also is not None else ratio_asked.asked(brief)
    book = goals.advised(brief, made, primary.name) if aim is None else ratio_asked.fewest(made, primary.name, aim)
    worth = [option for option in made if option is book or not is_outdone(brief, option, made, primary.name, also)]
    spoken_of = goals.spoken_of(brief, worth, book, primary.name)
    shown = _thinned(worth, spoken_of, also)
    notes = [note for scatter in scatters for note in scatter.notes]
    if any(len(factor.levels) > 2 for factor in brief.factors):
        notes.append(
            "a term with more than two levels is sized for two levels that differ by the change, the others "
            "midway between"
        )
    notes += option_words.beside(brief, made, worth, shown, book)
    notes += leaner.given_up(brief, [option.design for option in shown], None if book is None else book.design)
    notes += option_words.families(book or shown[-1])
    notes += ways_out.out_of_reach(brief, made, primary.name, scatters)
    notes += [] if aim is None else [ratio_asked.told(made, book, primary.name, aim)]
    if standing is not None:
        notes += further_words.without_extension(brief, standing, scatters, primary.name)
    notes.append(
        "a true change of exactly the worthwhile size is shown to be worthwhile in only "
        f"{100 * brief.alpha / 2:g} % of campaigns, however many runs are made"
    )
    notes += [told for told in (in_builds.sentence(brief), optimal.sentence(brief)) if told]
    sentence = option_words.sentence(brief, made, book, spoken_of, scatters)
    why: tuple[str, ...] = ()
    if aim is None and also is None:
        first = [item for item in scatters if item.response.name == primary.name]
        why = reach.sentences(
            brief, made, spoken_of, book is not None, primary.name, lambda: _judged(brief, far, first, standing)
        )
    return Options(
        brief,
        tuple(scatters),
        shown,
        book,
        sentence,
        tuple(notes),
        made[0].design.phase,
        len(made),
        len(made) - len(worth),
        why=why,
    )


def summary(found: Options) -> pd.DataFrame:
    """The plans as people read them: runs, builds, hours and cost where there are items, chance of each comparison."""
    primary = next(item for item in found.brief.responses if item.role == "primary").name
    rows = []
    for option in found.options:
        row: dict[str, object] = {"plan": option.name, "runs": option.design.runs, "builds": option.design.builds}
        if found.brief.cost.items:
            row["hours"] = round(option.price.hours)
            row[f"cost ({found.brief.cost.currency or 'money'})"] = round(option.price.cost)
            row["within budget"] = "yes" if option.within_budget else "no"
        for claim in option.claims:
            if claim.response == primary and claim.comparison:
                row[f"{claim.comparison}: chance shown (%)"] = _told_chance(claim, found.brief.power)
        for pick in option.picks:
            if pick.response == primary:
                row[f"{pick.name}: chance to pick it (%)"] = (
                    "not told" if pick.chance is None else chance(pick.chance, found.brief.power)
                )
        rows.append(row)
    return pd.DataFrame(rows)


def _told_chance(claim: promise.Claim, asked: float) -> str:
    """A chance in per cent; in words where the plan leaves nothing to judge the comparison by."""
    if claim.error_df is not None and claim.error_df < 1:
        return "no error df"
    return "not told" if claim.assurance is None else chance(claim.assurance, asked)


def _judged(
    brief: Brief,
    chosen: Sequence[tuple[Design, Price]],
    scatters: Sequence[Scatter],
    standing: pd.DataFrame | None,
) -> tuple[Option, ...]:
    """Every plan with its price, claims and picks; plans of one kind are judged together."""
    budget = brief.cost.budget
    kinds: dict[object, list[int]] = {}
    for at, (design, _) in enumerate(chosen):
        kinds.setdefault((design.strata.terms, design.phase), []).append(at)
    claims: dict[int, list[promise.Claim]] = {at: [] for at in range(len(chosen))}
    picks: dict[int, list[best_of.Pick]] = {at: [] for at in range(len(chosen))}
    families: dict[int, list[family_claims.FamilyClaim]] = {at: [] for at in range(len(chosen))}
    for members in kinds.values():
        designs = [chosen[at][0] for at in members]
        laid = promise.as_judged(designs, standing)
        for scatter in scatters:
            mine = promise.of_response(laid, scatter.response)
            plans = promise.of_response([design.strata for design in designs], scatter.response)
            told = promise.of_strata(scatter, mine, plans)
            ranked, together = best_of.picks(mine, scatter), family_claims.of_strata(scatter, mine)
            for at, own, best, held in zip(members, told, ranked, together, strict=True):
                claims[at] += own
                picks[at] += best
                families[at] += held
    return tuple(
        Option(
            design,
            price,
            tuple(claims[at]),
            budget is None or price.cost <= budget,
            tuple(picks[at]),
            tuple(families[at]),
        )
        for at, (design, price) in enumerate(chosen)
    )


def _within_reach(brief: Brief, designs: Sequence[Design], also: Design | None) -> tuple[_Priced, _Priced]:
    """The plans with their prices: all within the budget, the next few beyond it and the one asked for; then others."""
    priced = [(design, money.of_design(design)) for design in designs]
    if also is not None and also.name not in [design.name for design in designs]:
        priced.append((also, money.of_design(also)))
    budget = brief.cost.budget
    paid = [item for item in priced if budget is None or item[1].cost <= budget]
    kept = [item for item in priced if item in paid or item[0] is also]
    if not paid:
        raise SizingError(ways_out.nothing_fits(brief, priced))
    beyond = sorted((item for item in priced if item not in kept), key=lambda item: item[1].cost)
    near = sorted(kept + beyond[:_BEYOND_BUDGET], key=lambda item: (item[0].runs, item[0].builds))
    return near, beyond[_BEYOND_BUDGET:]


def _thinned(made: Sequence[Option], book: Option | None, also: Design | None) -> tuple[Option, ...]:
    """At most two dozen plans to look at: evenly spread, with the advised, the chosen and the largest among them."""
    if len(made) <= MOST_OPTIONS:
        return tuple(made)
    must = {at for at, option in enumerate(made) if option is book or (also is not None and option.name == also.name)}
    must |= {at for at, option in enumerate(made) if not option.within_budget} | {len(made) - 1}
    inside = [at for at, option in enumerate(made) if option.within_budget]
    must |= {max(inside)} if inside else set()
    rest = [at for at in range(len(made)) if at not in must]
    room = max(MOST_OPTIONS - len(must), 1)
    must |= {rest[round(place * (len(rest) - 1) / max(room - 1, 1))] for place in range(room)}
    return tuple(made[at] for at in sorted(must))
