"""The files of a campaign folder: what each holds, and who edits it when (rank 3)."""

from __future__ import annotations

FILES: dict[str, str] = {
    "campaign.toml": "The brief: what is asked, varied, measured and may be spent. You write it before the plan is "
    "sealed; Wearbook only reads it.",
    "log.csv": "One line for everything that was done, each chained to the one before. Wearbook alone writes it.",
    "plan/": "The sealed phases: run lists, seals and a page to print. Wearbook alone writes it; a change goes by "
    "`wearbook amend`.",
    "runs.csv": "One line a run in raw/: what was fitted, held values, verdict with reason and role. You or the test "
    "engineer fill it in, or run sheets that are taken in do.",
    "stations.csv": "One line a reading of a station in raw/. The metrology room fills it in, by part codes alone.",
    "oil.csv": "One line an oil sample in raw/, with its hours and metals. The laboratory fills it in, by sample codes "
    "alone.",
    "gauge.csv": "Readings that repeat each other, in raw/: they tell the scatter of the gauge. The metrology room "
    "fills it in.",
    "masters.csv": "Readings of artefacts that do not wear, in raw/. The metrology room fills it in at each session.",
    "raw/dyno": "Recordings of the dynamometer by run, as the test cell writes them; they are never changed.",
    "raw/traces": "Traces of surfaces before and after, as the gauge writes them; they are never changed.",
    "raw/received": "A copy of every file that was taken in, under its checksum. Wearbook alone writes it.",
    "runsheets/": "What goes to rig, metrology and laboratory. Wearbook writes it, people fill in what comes back.",
    "derived/": "Everything that was worked out; it can be thrown away and made again.",
    "report/": "The report as one HTML file, and as PDF where it was asked for.",
    "notebooks/": "The template notebooks of the campaign; they are yours to run and to add to.",
}
