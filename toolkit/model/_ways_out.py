"""What the runs cannot answer, found before fitting, and the runs that would put it right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from itertools import product

import numpy as np
import pandas as pd

from toolkit.brief import by_position
from toolkit.brief.model import Brief
from toolkit.design import base, changed, in_builds, questions, units
from toolkit.design import terms as model_terms
from toolkit.design.strata import Strata
from toolkit.model import _aligned_builds as aligned_builds
from toolkit.model._selection import finding
from toolkit.numeric import contrasts

# More runs than this are not listed one by one in a sentence.
SHOWN = 4


def missing_combinations(laid: Strata) -> list[dict[str, str]]:
    """The combinations of levels that no run has, in the order of the brief.

    Parameters
    ----------
    laid : Strata
        As run.

    Returns
    -------
    list of dict
        Factor name to level name.
    """
    names = laid.brief.factor_names
    had = {tuple(line) for line in laid.runs[list(names)].itertuples(index=False)}
    return [dict(zip(names, chosen, strict=True)) for chosen in base.lines(laid.brief) if chosen not in had]


def why_not(laid: Strata, row: np.ndarray) -> str:
    """Why a contrast cannot be estimated and which runs would make it so, in one or two sentences.

    Parameters
    ----------
    laid : Strata
        As run.
    row : ndarray, shape (parameters,)
        A contrast that is not estimable.

    Returns
    -------
    str
    """
    missing = missing_combinations(laid)
    if contrasts.estimable(row[None, :], laid.columns)[0]:
        if _is_mean(row):
            return (
                f"not estimable: its builds share no combination with the others, so the mean cannot be told from the "
                f"difference between builds. {_builds_that_help(laid, row)}"
            )
        return (
            f"not estimable: the {_compared(laid, row)} compared were not run in the same builds, so the change "
            f"cannot be told from that between builds. {_builds_that_help(laid, row)}"
        )
    if not missing:
        return "not estimable from these runs."
    shown = listed(missing)
    return f"not estimable: no run of {shown}. {_runs_that_help(laid, row, missing)}"


def listed(combinations: Sequence[Mapping[str, str]]) -> str:
    """Combinations as text: 'pin P1, oil O1 or pin P0, oil O1'; at most four, then a count."""
    texts = [", ".join(f"{name} {level}" for name, level in line.items()) for line in combinations]
    if len(texts) > SHOWN:
        return f"{'; '.join(texts[:SHOWN])} and {len(texts) - SHOWN} more combinations"
    return texts[0] if len(texts) == 1 else f"{'; '.join(texts[:-1])} or {texts[-1]}"


def findings_of(brief: Brief, laid: Strata, response: str) -> list[dict[str, object]]:
    """Missing combinations, questions confounded with builds, and strata without an error, as findings.

    Parameters
    ----------
    brief : Brief
    laid : Strata
        As run.
    response : str
        Name of the response.

    Returns
    -------
    list of dict
        Rows for a table of findings.
    """
    made = []
    missing = missing_combinations(laid)
    part = base.part(brief)
    if missing and not (part and _as_good(laid)):
        nil = "or declare the interaction nil in [plan] nil_interactions if the trade knows that it is; "
        nil = "" if part else nil
        wanted = "every combination of the plan" if part else "every combination"
        made.append(
            finding(
                "note",
                "missing combination",
                f"no run of {listed(missing)}",
                f"at least one valid run of {wanted}",
                f"what needs it is marked not estimable. Run it; {nil}or compare only combinations that were run",
                column=response,
            )
        )
    for comparison in brief.comparisons:
        row = questions.of_comparison(brief, comparison, laid.terms).row
        if contrasts.estimable(row[None, :], laid.columns)[0] and not laid.estimable(row):
            made.append(
                finding(
                    "note",
                    "confounded with builds",
                    f"{comparison.name}: its {_compared(laid, row)} were not run in the same builds",
                    f"{_both_sides(laid, row)} in every build",
                    _builds_that_help(laid, row),
                    column=response,
                )
            )
        elif laid.estimable(row) and (why := aligned_builds.why_withheld(laid, row)):
            made.append(
                finding(
                    "note",
                    "confounded with builds",
                    f"{comparison.name}: {why.split('. So ')[0]}",
                    f"{_both_sides(laid, row)} in every build",
                    "repeat both sides within one build, or declare builds as blocks in the brief and run both sides "
                    "in each",
                    column=response,
                )
            )
    made += _alone(laid, response)
    for item in laid.strata:
        if item.error_df == 0 and item.terms:
            made.append(
                finding(
                    "note",
                    "no error estimate",
                    f"0 df of error between {units.PLURALS[item.name]}",
                    "at least 1 df, better 6 or more",
                    no_error(brief, laid, item.name),
                    column=response,
                )
            )
    return made


def _as_good(laid: Strata) -> bool:
    """True when the runs are a part of the combinations as large as the planned one, and tell every planned term."""
    had = laid.runs[list(laid.brief.factor_names)].drop_duplicates()
    return len(had) >= len(base.lines(laid.brief)) and bool(
        np.all(contrasts.estimable(np.eye(laid.full_columns.shape[1]), laid.full_columns))
    )


def _alone(laid: Strata, response: str) -> list[dict[str, object]]:
    """Runs that are the only one of their block: they cannot be compared with anything."""
    if not laid.blocked:
        return []
    counts, again = laid.runs["build_id"].value_counts(), changed.made_again(laid.brief)
    return [
        finding(
            "note",
            "alone in its build",
            f"the only valid run of build {line['build_id']}",
            "at least two runs in a build",
            "it tells nothing about the comparisons, which are made within builds: "
            + ("repeat a lost run in the build it belongs to, or run a whole build" if again else "run a whole build"),
            run_id=str(line["run_id"]),
            column=response,
        )
        for line in laid.runs.to_dict("records")
        if counts[line["build_id"]] == 1
    ]


def no_error(brief: Brief, laid: Strata, stratum: str) -> str:
    """What to do where the runs leave nothing to judge the scatter by."""
    if stratum == "build":
        more = (
            "add builds: at least one level of the build-level factors must be built twice "
            "(each build more gives 1 df of error)"
        )
    elif stratum == units.POSITION:
        more = "take more runs: each holds the levels side by side, and adds to what they are judged by"
    elif stratum != units.RUN:
        name, many = units.NAMES[stratum], units.PLURALS[stratum]
        more = f"add {many}: at least one level of what changes with the {name} must be set up twice"
    elif in_builds.used(brief):
        more = f"add a set of {in_builds.spread(brief)} builds"
    elif laid.blocked:
        more = f"add a build with all {_of_runs(brief)} combinations"
    else:
        more = f"repeat runs: each of the {_of_runs(brief)} combinations that is run again gives 1 df of error"
    top = max((term for term in laid.terms if term != model_terms.CURVATURE), key=len, default=())
    nil = (
        f"; or declare an interaction nil in [plan] nil_interactions (such as {model_terms.name_of(top)}) if "
        f"the trade knows that it is"
        if len(top) > 1 and not base.part(brief)
        else ""
    )
    return f"no error estimate, so no interval and no test: {more}{nil}; or report the estimates alone"


def _of_runs(brief: Brief) -> int:
    """How many combinations a run can be."""
    return len(by_position.run_combinations(brief)) if by_position.divided(brief) else len(base.lines(brief))


def _runs_that_help(laid: Strata, row: np.ndarray, missing: Sequence[Mapping[str, str]]) -> str:
    """Which of the missing combinations, run once, would make the contrast estimable."""
    build = laid.runs["build_id"].iloc[0]
    single = [line for line in missing if _would_do(laid, row, [{**line, "build_id": build}])]
    if single:
        return f"One run of {listed(single)} would make it estimable."
    if _would_do(laid, row, [{**line, "build_id": build} for line in missing]):
        return "One run of each of them would make it estimable."
    return "More runs of these combinations in the same builds as the others are needed."


def _compared(laid: Strata, row: np.ndarray) -> str:
    """What a contrast sets against each other: levels of one factor, or combinations of several."""
    several = [span for term, span in laid.spans.items() if len(term) > 1]
    return "combinations" if any(np.any(np.abs(row[span]) > 1e-9) for span in several) else "levels"


def _is_mean(row: np.ndarray) -> bool:
    """True for a mean, which holds the constant; a contrast does not."""
    return abs(float(row[0])) > 1e-9


def _both_sides(laid: Strata, row: np.ndarray) -> str:
    """Both sides of a contrast, in words; of a mean, what ties its builds to the others."""
    if _is_mean(row):
        return "a combination of the other builds too"
    return "both levels" if _compared(laid, row) == "levels" else "the combinations of both sides"


def _builds_that_help(laid: Strata, row: np.ndarray) -> str:
    """Which single run in one of the builds at hand would take the contrast apart from the builds."""
    builds = list(dict.fromkeys(laid.runs["build_id"]))
    names = laid.brief.factor_names
    tries = [
        {**dict(zip(names, chosen, strict=True)), "build_id": build}
        for build, chosen in product(builds, base.lines(laid.brief))
    ]
    first = next((line for line in tries if _would_do(laid, row, [line])), None)
    if first is None:
        return f"Run {_both_sides(laid, row)} within the same build."
    words = listed([{name: str(first[name]) for name in names}])
    return (
        f"Run {_both_sides(laid, row)} within the same build: one run of {words} in build {first['build_id']} "
        f"would do."
    )


def _would_do(laid: Strata, row: np.ndarray, more: Sequence[Mapping[str, object]]) -> bool:
    """True when these runs added to those at hand make the contrast estimable."""
    columns = _with(laid, tuple(tuple(line.items()) for line in more))
    padded = np.concatenate([row, np.zeros(columns.shape[1] - len(row))])
    return bool(contrasts.estimable(padded[None, :], columns)[0])


@lru_cache(maxsize=512)
def _with(laid: Strata, more: tuple[tuple[tuple[str, object], ...], ...]) -> np.ndarray:
    """The columns of the runs at hand and further ones, blocks among them; many contrasts ask for the same."""
    names = list(laid.brief.factor_names)
    extended = pd.concat([laid.runs[["build_id", *names]], pd.DataFrame([dict(line) for line in more])])
    extended = extended.reset_index(drop=True)
    columns, _ = model_terms.columns(laid.brief, extended, laid.terms)
    if laid.blocked:
        builds = list(dict.fromkeys(extended["build_id"]))
        # Adding to nought over the builds, as the strata code them: a mean is one over builds, equally weighted.
        marks = np.array(
            [[float(one == name) - float(one == builds[-1]) for name in builds[:-1]] for one in extended["build_id"]]
        )
        columns = np.hstack([columns, marks.reshape(len(extended), -1)])
    return columns
