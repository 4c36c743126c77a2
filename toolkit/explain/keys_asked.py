"""What the keys say that ask the question: factors, responses, comparisons and what goes with them (rank 3)."""

from __future__ import annotations

from toolkit.explain.meant import OWN_UNIT, Meant

_WORTHWHILE = "that of the response"
_OF_RESPONSE = "the worthwhile change of the response"

ASKED: dict[str, Meant] = {
    "campaign": Meant("What the campaign is called, what it asks, and the levels at which its answers are judged."),
    "campaign.id": Meant("A short name without blanks; the report and other files are named by it.", '"chain-soot"'),
    "campaign.question": Meant(
        "The question in one sentence: which change, by how much, for which decision. It stands on top of the report.",
        '"Does the coated pin cut chain wear by 20 %?"',
    ),
    "campaign.seed": Meant(
        "Every random order and every drawn number follows from it. Choose any whole number once and keep it.", "20417"
    ),
    "campaign.alpha": Meant(
        "How often a difference is claimed where there is none, two-sided. Intervals are at 1 - alpha.", "0.05"
    ),
    "campaign.power": Meant("The chance of 'difference shown' that a plan is asked to reach.", "0.8"),
    "campaign.new_each_run": Meant(
        "What is new in every run anyway. A factor on it is judged by the scatter between runs; one that is kept over "
        "several runs is judged by the scatter between those parts, fills or builds.",
        '["part", "fill"]',
    ),
    "factor": Meant("One thing that is deliberately varied; written once for each, in double brackets."),
    "factor.name": Meant(
        "A plain name; the name of a numeric factor ends in what it is measured in, as load_Nm does.", '"pin"'
    ),
    "factor.undo": Meant(
        "What must be undone to change a level of the factor. It decides which runs share a level and so which scatter "
        "the factor is judged by.",
        '"part"',
    ),
    "factor.levels": Meant(
        "The settings that are compared, the first one the baseline: short names with what they mean, or a list of "
        "numbers.",
        '{ P0 = "ground steel", P1 = "nitride-coated" }',
    ),
    "positions": Meant(
        "The positions of one engine in which parts of several levels run side by side, for factors with undo = "
        '"position".'
    ),
    "positions.names": Meant(
        "The positions by name, a multiple of the levels. Every run holds each level equally often, and over the runs "
        "each position holds each of them.",
        '["cyl 1", "cyl 2"]',
    ),
    "blocks": Meant("Runs are grouped in builds, and each build holds the combinations; leave it out if they are not."),
    "blocks.by": Meant("What the blocks are.", '"build"'),
    "blocks.most_runs": Meant("How many runs a build lasts.", "8", default="no limit"),
    "response": Meant("One thing that is measured on every run; written once for each, in double brackets."),
    "response.name": Meant("A plain name that ends in what the response is measured in.", '"elongation_pct"'),
    "response.role": Meant("The decision rests on the one primary response; the others stand beside it.", '"primary"'),
    "response.better": Meant("Which way is a gain.", '"smaller"'),
    "response.scale": Meant(
        "log tells comparisons as ratios and per cent and is the usual choice for wear; linear tells differences.",
        '"log"',
    ),
    "response.per_run": Meant(
        "How the one value of a run is made: from stations mean, mean_of_log, max or total; from oil samples increase, "
        "end or balance; from runs.csv value.",
        '"mean"',
        default="mean from stations, increase from oil samples, value from runs.csv",
    ),
    "response.stations": Meant(
        "Places on a part that are measured in every run. They sharpen the run value and are never replicates."
    ),
    "response.stations.kind": Meant("What a station is, as reports name it.", '"segment"'),
    "response.stations.count": Meant("How many stations a part has; with positions over all of them.", "10"),
    "response.stations.readings": Meant("How often each station is measured.", "2"),
    "response.stations.states": Meant(
        "The two states that are measured; wear is the second less the first. Left out, the wear itself is read.",
        '["before", "after"]',
    ),
    "response.stations.groups": Meant(
        "Stations that are alike by group, told beside each other.", '{ inlet = ["L1", "L3"], exhaust = ["L2"] }'
    ),
    "response.worthwhile_change_pct": Meant(
        "The smallest change that matters to the decision, on the log scale. Every comparison without one of its own "
        "uses it.",
        "20",
    ),
    "response.worthwhile_change": Meant(
        "The smallest change that matters to the decision, on the linear scale.", "2.5", OWN_UNIT
    ),
    "response.gauge_sd": Meant(
        "Standard deviation of one run value by the gauge alone.", "0.4", OWN_UNIT, "from repeated readings"
    ),
    "comparison": Meant("One question by name: two sets of levels against each other, or an interaction."),
    "comparison.name": Meant("What the comparison is called in every table and verdict.", '"new oil"'),
    "comparison.of": Meant(
        "The levels that are judged, for the same factors as in against; factors left out are averaged.",
        '{ oil = "O1" }',
    ),
    "comparison.against": Meant("The levels they are set against.", '{ oil = "O0" }'),
    "comparison.interaction": Meant(
        "In place of of and against: does the change by one of these factors depend on the others?", '["pin", "oil"]'
    ),
    "comparison.direction": Meant("Which way a change is of interest; tests stay two-sided.", '"smaller"'),
    "comparison.worthwhile_change_pct": Meant("Its own worthwhile change, log scale.", "15", default=_WORTHWHILE),
    "comparison.worthwhile_change": Meant("Its own worthwhile change, linear scale.", "2", OWN_UNIT, _WORTHWHILE),
    "comparison.assumed_change_pct": Meant(
        "The true change that power is told for, log scale.", "26", default="the worthwhile change"
    ),
    "comparison.assumed_change": Meant(
        "The true change that power is told for, linear scale.", "3", OWN_UNIT, "the worthwhile change"
    ),
    "comparison.family": Meant(
        "The family of [families] that the comparison is judged in.", '"may we switch"', default="judged alone"
    ),
    "best_of": Meant(
        "The levels of a factor are ranked to pick the best: a choice, never a proof that it is better."
    ),
    "best_of.factor": Meant("The factor whose levels are ranked, the other factors averaged.", '"pin"'),
    "best_of.gap_pct": Meant("The lead that is worth picking for, log scale.", "20", default=_OF_RESPONSE),
    "best_of.gap": Meant("The lead that is worth picking for, linear scale.", "2", OWN_UNIT, _OF_RESPONSE),
    "families": Meant("Comparisons that are judged together, one line for each family; NAME is yours."),
    "families.NAME.promise": Meant(
        "Which of its comparisons the plan is to show: any one of them, each by itself, or all in the same campaign.",
        '"each"',
    ),
    "families.NAME.adjust": Meant("How intervals are widened because several are judged together.", '"multivariate_t"'),
    "covariate": Meant(
        "What differs from run to run and is neither a factor nor a result; comparisons can be told at equal values "
        "of it."
    ),
    "covariate.name": Meant(
        "A held variable, run_time_h, run_order for drift, or a column of runs.csv of its own.", '"soot_pct"'
    ),
    "covariate.at": Meant(
        "The value at which means are told.", "3", "the unit at the end of its name",
        "the target where it is held, else the mean of the valid runs",
    ),
    "covariate.before_run": Meant(
        "true where it is fixed before the treatment can act on it. Only then, and sealed before any run, do verdicts "
        "rest on it.",
        "true",
    ),
    "old_data": Meant("How runs were made that nobody planned here; only in a campaign drafted from an old table."),
    "old_data.order": Meant("In which order the runs were made, or the column that tells it.", '"as listed"'),
    "old_data.repeats": Meant(
        "What lines of the same combination are: runs of their own, or readings of one run, which are averaged.",
        '"readings"',
    ),
}  # fmt: skip
