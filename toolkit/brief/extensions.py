"""The words of [extension] design, and which of its keys each of them takes (rank 2)."""

from __future__ import annotations

SAME = "more of the same"
FOLD = "fold-over"
SEMIFOLD = "semifold"
AXIAL = "axial points"
MAKE_UP = "make-up runs"
FREEING = "freeing runs"

KINDS = (SAME, FOLD, SEMIFOLD, AXIAL, MAKE_UP, FREEING)
DISTANCES = ("face-centred", "rotatable", "orthogonal blocking")
# What the joined runs can tell is more than what the main phase can.
JOINED = (FOLD, SEMIFOLD, AXIAL, FREEING)
# Keys of [extension] and the kinds that have a use for them.
KEYS = {
    "combinations": (SAME, MAKE_UP),
    "swap": (FOLD, SEMIFOLD),
    "half": (SEMIFOLD,),
    "axial": (AXIAL,),
    "centre_points": (AXIAL,),
    "free": (FREEING,),
    "comparison": (SAME,),
    "detectable_ratio": (SAME,),
}
# Keys that came after the first seals, with what they are where they are left out.
LATER = {
    "design": SAME,
    "swap": (),
    "half": {},
    "axial": "",
    "centre_points": 0,
    "free": (),
    "comparison": "",
    "detectable_ratio": None,
}
