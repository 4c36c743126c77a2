"""Prints how long each picture of the gallery takes to draw, and how long a slider of the sizing takes to redraw.

    python -m tests.bench.pictures

Processor time, the smallest of several, from results to the bytes of the PNG; with two factors and with seven. The
pictures of the redraw are those a person waits for: one move of a slider in the notebook of the sizing.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial

LIMIT_REDRAW_S = 0.3


def least(work: Callable[[], object], times: int = 5) -> float:
    """The smallest processor time of a call [s], after one that is not counted."""
    work()
    taken = []
    for _ in range(times):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return min(taken)


def picture(call: str, many: bool) -> object:
    """One picture of the gallery, drawn from INVENTED results with two factors or with seven."""
    from tests.unit.plot import example, test_every_picture, test_overview, test_promise, test_sizing, test_together
    from toolkit.plot import effects, forecast, promise, sizing, together

    names, count = (example.LONG, 7) if many else (example.SHORT, 2)
    response = test_sizing.RESPONSE
    brief = test_sizing.brief_of(names, count)
    elsewhere: dict[str, Callable[[], object]] = {
        "effects.comparisons": lambda: effects.comparisons(
            example.comparisons(brief), example.verdicts(brief), brief, runs=12
        ),
        "forecast.outcomes": lambda: forecast.outcomes(
            example.options(brief), brief, response=response, name="full factorial, 3 builds"
        ),
        "overview.overview": lambda: test_overview.drawn(test_overview.brief_of(names, count)),
        "promise.curves": lambda: promise.curves(
            test_promise.table_of(brief), brief, response=response, plan=test_promise.PLAN
        ),
        "sizing.detectable": lambda: sizing.detectable(example.options(brief), brief, response=response),
        "together.together": lambda: together.together(
            test_together.ROW, test_together.RUNS, test_together.ONE, test_together.OTHER, test_together.brief()
        ),
    }
    made = elsewhere[call]() if call in elsewhere else test_every_picture.drawn(call, many)[0]
    return made[0] if isinstance(made, list) else made


def _whole(call: str, many: bool) -> bytes:
    """One picture, from its results to its bytes."""
    from toolkit.report.show import figure_png

    return figure_png(picture(call, many))


def redraw() -> float:
    """One move of a slider to a place where it was not before: from its value to picture and table [s]."""
    from tests.unit.size.test_options import BRIEF, known
    from toolkit.report import sliders
    from toolkit.report.show import figure_png
    from toolkit.size import options
    from toolkit.size.what_if import what_if

    sizing = options.options(BRIEF, [known(BRIEF)])
    places = iter(range(1, 100))

    def move() -> None:
        """Another scatter and change, one plan."""
        found = what_if(sizing, sizing.options[1].name, scatter_times=0.5 + 0.05 * next(places), change=30.0)
        figure_png(sliders.drawn_curves(sizing, found)[0])
        repr(sliders.what_is_shown(found))

    return least(move)


def main() -> None:
    """Every picture in turn, then the slider."""
    from toolkit.plot.gallery import GALLERY

    total = {False: 0.0, True: 0.0}
    print(f"{'picture':28s} {'two factors':>12s} {'seven':>10s}")
    for item in GALLERY:
        call = item.call
        taken = {many: least(partial(_whole, call, many)) for many in (False, True)}
        total = {many: total[many] + taken[many] for many in total}
        print(f"{call:28s} {taken[False]:10.3f} s {taken[True]:8.3f} s")
    print(f"{'all':28s} {total[False]:10.3f} s {total[True]:8.3f} s")
    moved = redraw()
    ratio = moved / LIMIT_REDRAW_S
    print(f"slider of the sizing, one move: {moved:.3f} s   limit {LIMIT_REDRAW_S} s   ratio {ratio:.2f}")


if __name__ == "__main__":
    main()
