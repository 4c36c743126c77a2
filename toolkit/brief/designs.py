"""The words of [plan] design, and what each of them takes (rank 2)."""

from __future__ import annotations

FULL = "full factorial"
FRACTION = "two-level fraction"
PLACKETT_BURMAN = "Plackett-Burman"
THREE_LEVELS = "three-level screening"
EIGHTEEN = "18-run array"
COMPOSITE = "central composite"
BOX_BEHNKEN = "Box-Behnken"
BALANCED = "balanced incomplete blocks"
INCOMPLETE = "incomplete blocks"
LATIN = "Latin square"
OPTIMAL = "optimal"

DESIGNS = (
    *(FULL, FRACTION, PLACKETT_BURMAN, THREE_LEVELS, EIGHTEEN, COMPOSITE, BOX_BEHNKEN),
    *(BALANCED, INCOMPLETE, LATIN, OPTIMAL),
)
# Every combination is run, laid out over builds that are blocks.
IN_BUILDS = (BALANCED, INCOMPLETE, LATIN)
# Every factor has two levels; interactions may share one contrast with other effects.
TWO_LEVEL = (FRACTION, PLACKETT_BURMAN)
# Factors are numbers and the model is of second order: slopes, squares, products.
SECOND_ORDER = (COMPOSITE, BOX_BEHNKEN)
# Keys of [plan] and the designs that have a use for them.
KEYS = {
    "runs": (*TWO_LEVEL, OPTIMAL),
    "resolution": (FRACTION,),
    "keep_clear": (FRACTION, EIGHTEEN),
    "split_over": (FRACTION, COMPOSITE, BOX_BEHNKEN, OPTIMAL),
    "axial": (COMPOSITE,),
    "runs_in_build": (BALANCED, INCOMPLETE),
    "baseline_in_every_build": (BALANCED,),
    "balance_carry_over": (LATIN,),
    **dict.fromkeys(("criterion", "model", "interactions", "forbidden", "limits", "repeat_points"), (OPTIMAL,)),
    **dict.fromkeys(("plots", "variance_ratio"), (OPTIMAL,)),
}
# How many factors a design takes at most.
MOST_FACTORS = {
    **{FULL: 8, FRACTION: 15, PLACKETT_BURMAN: 15, THREE_LEVELS: 12, EIGHTEEN: 8, COMPOSITE: 7, BOX_BEHNKEN: 7},
    **{BALANCED: 4, INCOMPLETE: 4, LATIN: 4, OPTIMAL: 15},
}
FEWEST_FACTORS = {
    **{FULL: 1, FRACTION: 3, PLACKETT_BURMAN: 3, THREE_LEVELS: 3, EIGHTEEN: 2, COMPOSITE: 2, BOX_BEHNKEN: 3},
    **{BALANCED: 1, INCOMPLETE: 1, LATIN: 1, OPTIMAL: 1},
}
