"""The columns that every table of records has, whatever the brief (rank 2)."""

from __future__ import annotations

from toolkit.brief.positions import AT

RUN_KEYS = ("run_id", "phase", "build_id", "planned_order", "actual_order")
# Which set of parts and which fill a run belongs to, where these are kept over several runs.
KEPT = ("part_set_id", "fill_id")
JUDGED = ("verdict", "reason", "role")
STATION_KEYS = ("run_id", "part_id", "station_id", "reading")
OIL_KEYS = ("run_id", "sample_id", "at_h")
# What oil.csv may say of the oil drawn with a sample, topped up after it and consumed since the one before; of the
# laboratory; and a particle index without a unit.
OIL_ACCOUNT = ("sampled_kg", "topped_up_kg", "consumed_kg")
OIL_LAB = ("lab_id", "lab_batch")
FERROUS = "ferrous_index"
# What was fitted and when: on the run sheet, not in runs.csv.
FITTED = ("part_id", "serial", "oil_drum", "started_at", "stopped_at")
NOTE = "note"


def is_fitted(name: str) -> bool:
    """True for what was fitted and when, the part of one position ('part_id@cyl 1') too."""
    return name in FITTED or (name.partition(AT)[0] == FITTED[0] and AT in name)
