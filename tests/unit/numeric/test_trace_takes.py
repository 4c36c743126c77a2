"""One figure from the wear between two traces: simulated surfaces of known wear, and a flank by hand."""

from __future__ import annotations

import numpy as np
import pytest

from toolkit.errors import IntakeError
from toolkit.numeric import trace_takes, traces

POSITION = np.arange(0.0, 10.0 + 1e-9, 0.1)
REFERENCE, WORN = ((0.0, 2.0), (8.0, 10.0)), (3.0, 7.0)
GAUGE = 0.1


def surface(at):
    """A wavy surface [micrometre] whose waves are short against the slopes' window of seven readings."""
    return 3.0 * np.sin(2.0 * np.pi * at / 1.3) + 2.0 * np.sin(2.0 * np.pi * at / 4.1 + 1.0)


def depth(at):
    """Wear of 2 micrometre at 5 mm, a parabola from 3 to 7 mm: mean 4/3, area 16/3."""
    return np.where(np.abs(at - 5.0) < 2.0, 2.0 * (1.0 - ((at - 5.0) / 2.0) ** 2), 0.0)


def aligned(draw, *, gauge=GAUGE, shift=0.04):
    before = surface(POSITION) + draw.normal(0.0, gauge, len(POSITION))
    moved = surface(POSITION - shift) + 3.0 + 0.1 * (POSITION - 5.0)
    after = moved - depth(POSITION) + draw.normal(0.0, gauge, len(POSITION))
    return traces.align(POSITION, before, POSITION, after, REFERENCE)


def near(*places):
    """The mean wear over the five readings nearest to each place, averaged over the places."""
    return float(np.mean([depth(at + 0.1 * np.arange(-2, 3)).mean() for at in places]))


@pytest.mark.parametrize(
    ("what", "asked", "truth"),
    [
        ("mean", {"zone": WORN}, float(depth(POSITION[(POSITION >= 2.999) & (POSITION <= 7.001)]).mean())),
        ("area", {"zone": WORN}, 16.0 / 3.0),
        ("mean", {"positions": (4.0, 5.0, 6.0)}, near(4, 5, 6)),
        ("max", {"positions": (4.0, 5.0)}, near(5)),
    ],
    ids=["mean", "area", "mean of positions", "greatest of positions"],
)  # fmt: skip
def test_bias_and_scatter_are_as_told(what, asked, truth):
    # 120 traces: the mean lies within four standard errors, and the ratio of SDs within four times its own (1 / 15.4).
    draw = np.random.default_rng([31, len(what), len(asked.get("positions", ()))])
    found = [trace_takes.take(aligned(draw), what, **asked) for _ in range(120)]
    values = np.array([item.value for item in found])
    told = np.mean([item.std_error for item in found])
    assert abs(values.mean() - truth) < 0.05
    assert abs(values.mean() - truth) < 4.0 * values.std(ddof=1) / np.sqrt(120) + 0.01 * truth
    assert 0.74 < values.std(ddof=1) / told < 1.26


def test_on_a_flank_the_doubt_is_slope_times_that_of_the_alignment():
    # A straight flank of 20 micrometre per mm; the only thing looked for is the shift, so that its doubt by hand is
    # s sqrt(2) / (slope sqrt(n)), and that of any mean on the flank slope times it.
    flank = 20.0 * POSITION
    draw = np.random.default_rng(4)
    before, after = (flank + draw.normal(0.0, GAUGE, len(POSITION)) for _ in range(2))
    made = traces.align(POSITION, before, POSITION, after, REFERENCE, moves=("shift",))
    found = trace_takes.take(made, "mean", zone=WORN)
    held = int(sum(((POSITION >= low) & (POSITION <= high)).sum() for low, high in REFERENCE))
    # 5 %: slopes come from noisy traces, and the ends of the zones where a trace does not reach count a reading less.
    assert found.of_alignment == pytest.approx(made.scatter * np.sqrt(2.0 / held), rel=0.05)
    assert found.of_readings == pytest.approx(made.scatter * np.sqrt(2.0 / 41), rel=1e-6)
    assert found.std_error == pytest.approx(np.hypot(found.of_readings, found.of_alignment), rel=1e-12)


def test_short_waves_do_not_lead_the_shift_astray():
    # Waves of 1 mm read every 0.125 mm: seven readings smooth their slope to less than half.
    at = np.arange(0.0, 10.0 + 1e-9, 0.125)
    wavy = lambda place: 3.0 * np.sin(2.0 * np.pi * place / 1.0)  # noqa: E731
    draw = np.random.default_rng(8)
    before, after = (wavy(at - shift) + draw.normal(0.0, GAUGE, len(at)) for shift in (0.0, 0.08))
    made = traces.align(at, before, at, after, REFERENCE)
    assert made.shift == pytest.approx(0.08, abs=0.01) and made.scatter < 0.2


def test_what_cannot_be_told_is_refused():
    made = aligned(np.random.default_rng(1))
    for asked, told in (
        ({"positions": (12.0,)}, "The wear cannot be told.\n  position 12: no readings; expected both traces there."),
        ({}, "The wear cannot be told.\n  zone: none; expected a zone, or positions."),
    ):
        with pytest.raises(IntakeError) as caught:
            trace_takes.take(made, "mean", **asked)
        assert str(caught.value) == told
    draw = np.random.default_rng(2)
    one, other = (np.cumsum(draw.normal(0.0, 3.0, len(POSITION))) for _ in range(2))
    found = None
    try:
        found = traces.align(POSITION, one, POSITION, other, REFERENCE)
    except IntakeError as problem:
        assert str(problem) == (
            "The traces cannot be brought together.\n"
            "  traces: no shift brings them together; expected two of one surface."
        )
    assert found is None or found.scatter > 10.0 * GAUGE
