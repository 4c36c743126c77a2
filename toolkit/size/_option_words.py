"""What the plans laid side by side come to, in words (rank 5)."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from toolkit.brief import model as brief_model
from toolkit.brief.model import Brief
from toolkit.size import _pilot_words as pilot_words
from toolkit.size import in_words, money
from toolkit.size.best_of import Pick
from toolkit.size.option import Option
from toolkit.size.promise import Claim
from toolkit.size.scatter import Scatter
from toolkit.wording import joined

MOST_RUNS = 60
_UNKNOWN = re.compile("scatter between (.+) is not known")


def beside(
    brief: Brief, made: Sequence[Option], worth: Sequence[Option], shown: Sequence[Option], book: Option | None
) -> list[str]:
    """What the reader of the plans must know: plans not listed, families, the pilot that counts, curvature, repeats."""
    notes = []
    if len(shown) < len(made):
        note = f"{len(made)} plans of up to {MOST_RUNS} runs were judged"
        if len(worth) < len(made):
            gone = len(made) - len(worth)
            note += (
                f"; {gone} {'is' if gone == 1 else 'are'} left out because another plan shows all that "
                f"{'it shows' if gone == 1 else 'they show'} for no more {'money' if brief.cost.items else 'runs'}"
            )
        if len(shown) < len(worth):
            note += f"; {len(shown)} of {'them' if len(worth) == len(made) else 'the rest'} are listed"
        notes.append(note)
    changes = [item.worthwhile_change_pct for item in (*brief.responses, *brief.comparisons)]
    small = [value for value in (*changes, *(brief.scatter.declared_cv_pct or ())) if value is not None and value < 1.0]
    if small:
        notes.append(
            f"{min(small):g} in campaign.toml is read as {min(small):g} %: was a share typed where per cent is asked?"
        )
    if brief.pilot is not None and brief.pilot.use == "block":
        notes.append(
            "the pilot's runs count in the analysis as blocks of their own, and in the chances told here; as their "
            "scatter also chose the size, 5 % false alarms become 5.5 to 6 % (simulated)"
        )
    if any(option.design.brief.plan.centre_points for option in shown):
        notes.append("curvature (centre points) is tested in the analysis and not sized here")
    if brief.cost.lost_runs_pct:
        runs = (book or shown[0]).design.runs
        notes.append(
            f"hours and cost hold the repeats of lost runs: {brief.cost.lost_runs_pct:g} % of the runs are expected to "
            f"be lost, repeats too, so that {runs} valid runs take {runs * (1.0 + money.repeats(brief)):.3g} attempts "
            f"on average"
        )
    return notes


def families(option: Option) -> list[str]:
    """What a plan shows of the families whose comparisons are promised together."""
    notes = []
    for claim in option.families:
        if claim.promise == "each":
            continue
        if claim.any is None or claim.each is None or claim.all is None:
            notes.append(f"family '{claim.family}' asks for {claim.promise}, {claim.note} ({claim.response})")
            continue
        notes.append(
            f"family '{claim.family}' asks for {claim.promise}: {option.name} shows any of its "
            f"{len(claim.comparisons)} comparisons of {claim.response} with {_percent(claim.any)}, each with "
            f"{_percent(claim.each)} or more, all with {_percent(claim.all)}"
        )
    return notes


def _percent(share: float) -> str:
    """A chance in whole per cent."""
    return f"{100 * share:.0f} %"


def untold(made: Sequence[Option], primary: str) -> list[Claim]:
    """The comparisons of the primary response whose scatter is not known: no plan can be advised before it is."""
    return [
        claim
        for claim in made[0].claims
        if claim.response == primary and claim.comparison and claim.note.startswith("the scatter between")
    ]


def sentence(
    brief: Brief, made: Sequence[Option], book: Option | None, shown_by: Option, scatters: Sequence[Scatter]
) -> str:
    """One sentence that says what the money can and cannot find: by the advised plan, else by the largest."""
    primary = next(item.name for item in brief.responses if item.role == "primary")
    aimed = brief_model.aimed_half_width(brief, brief.response(primary))
    asked = f"{100 * brief.power:g} %" if aimed is None else f"an interval of {width_of(brief, primary, aimed)}"
    where = "within the budget " if brief.cost.budget is not None else f"of up to {MOST_RUNS} runs "
    unknown = untold(made, primary)
    mine = next(item for item in scatters if item.response.name == primary)
    if unknown:
        own = mine.basis in ("pilot", "blended")
        return (
            f"No plan can be advised yet: for {joined([str(claim.comparison) for claim in unknown])} "
            f"{unknown[0].note}. "
            f"{pilot_words.two_alike(_between(unknown), own, runs=True)}"
        )
    claims = [claim for claim in shown_by.claims if claim.response == primary and claim.comparison]
    picks = [pick for pick in shown_by.picks if pick.response == primary]
    found = [told(brief, claim) for claim in claims if claim.reached]
    missed = [told(brief, claim) for claim in claims if not claim.reached]
    chosen = [picked(brief, pick) for pick in picks if pick.reached]
    doubtful = [picked(brief, pick) for pick in picks if not pick.reached]
    paid = f"; {shown_by.price.cost:,.0f} {brief.cost.currency} and " if brief.cost.items else ""
    paid += f"{shown_by.price.hours:,.0f} h with the expected repeats" if brief.cost.items else ""
    further = shown_by.design.phase == "extension"
    money_text = f"{shown_by.design.runs} {'further ' if further else ''}runs ({shown_by.name}{paid})"
    money_text += ", with those that count already," if further else ""
    guess = " All of this rests on a declared guess of the scatter." if mine.basis == "declared" else ""
    if mine.ends is not None:
        guess = (
            " The scatter is a bound, as values of the pilot lie below the laboratory's limit: it is taken as the most "
            "that it can be."
        )
    if not found and not chosen:
        larger = any(option.within_budget and option.design.runs > shown_by.design.runs for option in made)
        return (
            f"No plan {where}reaches {asked} for any comparison of {primary}; the largest"
            f"{' of several builds' if larger else ''}, {money_text}, "
            f"gives {joined([*missed, *doubtful])}.{guess}"
        )
    said = [f"{'show' if aimed is None else 'tell'} {joined(found)}"] if found else []
    said += [f"pick the {joined(chosen)}"] if chosen else []
    text = f"{money_text} will {joined(said)}"
    if missed or doubtful:
        text += f", but cannot be relied on for {joined([*missed, *doubtful])} (asked: {asked})"
    return f"{text}.{guess}"


def told(brief: Brief, claim: Claim) -> str:
    """A comparison with its assumed change and chance: 'coating (true change 26 %, chance 85 %)'."""
    if claim.assurance is None or claim.assumed_change is None:
        return f"{claim.comparison} ({claim.note})"
    response = brief.response(claim.response)
    if brief_model.aimed_half_width(brief, response) is not None:
        width = math.log(claim.half_width_ratio) if claim.half_width_ratio is not None else claim.half_width
        if width is None:
            return f"{claim.comparison} ({claim.note})"
        return f"{claim.comparison} (interval of {width_of(brief, claim.response, width)} expected)"
    return (
        f"{claim.comparison} (true change {in_words.assumed(response, claim)}, "
        f"chance {chance(claim.assurance, brief.power)} %)"
    )


def width_of(brief: Brief, name: str, width: float) -> str:
    """How far an interval reaches to either side: 'x/÷ 1.15', or '± 2 Nm'."""
    response = brief.response(name)
    return f"x/÷ {math.exp(width):.3f}" if response.scale == "log" else f"± {width:.3g} {response.measured_in}".rstrip()


def picked(brief: Brief, pick: Pick) -> str:
    """A choice with its gap and chance: 'best of 4 coating (if it leads each other by 20 %, chance 88 %)'."""
    if pick.chance is None:
        return f"{pick.name} ({pick.note})"
    return f"{pick.name} (if it leads each other by {gap(brief, pick)}, chance {chance(pick.chance, brief.power)} %)"


def gap(brief: Brief, pick: Pick) -> str:
    """The lead a choice is told for, with its unit."""
    if pick.gap_pct is not None:
        return f"{pick.gap_pct:.3g} %"
    return f"{pick.gap:.3g} {brief.response(pick.response).measured_in}".rstrip()


def chance(share: float, asked: float) -> str:
    """A chance in per cent, with as many decimals as it takes not to round it onto or across the asked power."""
    for places in range(4):
        text = f"{100 * share:.{places}f}"
        if share == asked or (float(text) >= 100 * asked) == (share >= asked):
            return text
    return text


def _between(unknown: Sequence[Claim]) -> str:
    """The units whose scatter is not known, in the plural."""
    found = _UNKNOWN.search(unknown[0].note)
    return found[1] if found else "builds"
