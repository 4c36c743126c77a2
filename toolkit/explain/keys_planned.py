"""What the keys say that plan, size, price and date the runs (rank 3)."""

from __future__ import annotations

from toolkit.explain.meant import OWN_UNIT, Meant

_MONEY = "the currency of [cost]"

PLANNED: dict[str, Meant] = {
    "pilot": Meant("Phase 0: a few repeated runs that tell the scatter before the campaign is sized."),
    "pilot.combinations": Meant(
        "The combinations that are run, each with a level of every factor.", '[ { pin = "P0", oil = "O0" } ]'
    ),
    "pilot.replicates": Meant("Runs of each combination.", "2"),
    "pilot.builds": Meant("Over how many builds the pilot is made.", "1"),
    "pilot.use": Meant("scatter lends its scatter alone; block counts its runs as one more block.", '"scatter"'),
    "plan": Meant("Phase 1 as you choose it after `wearbook size`: the design and how often it is run."),
    "plan.design": Meant(
        "How combinations are chosen: all of them, or a part of them in one of the ways of the list.",
        '"full factorial"',
    ),
    "plan.builds": Meant(
        "How many builds are made, with [blocks] or where a factor is changed with the build; 0 means not chosen yet.",
        "3",
    ),
    "plan.replicates": Meant(
        "Runs of each combination; with builds within each build. 0 means not chosen yet, and counts as 1 with builds.",
        "2",
    ),
    "plan.centre_points": Meant(
        "Runs in the middle of all numeric factors, which show whether the response bends between their levels.", "3"
    ),
    "plan.nil_interactions": Meant(
        "Interactions that are taken as nil and not estimated; what they would show counts as scatter.",
        '[["pin", "oil"]]',
    ),
    "plan.runs": Meant("How many runs one set of a chosen part has, where the design leaves it open.", "16"),
    "plan.resolution": Meant(
        "The least resolution a two-level fraction must have: 3 frees main effects of each other, 4 of interactions "
        "of two too.",
        "4",
    ),
    "plan.keep_clear": Meant(
        "Interactions of two that must stay free of main effects and of other interactions of two.",
        '[["pin", "oil"]]',
    ),
    "plan.interactions_up_to": Meant(
        "Interactions of more factors than this are taken as nil and tell the scatter; 0: none is.", "2"
    ),
    "plan.split_over": Meant("Over how many builds one set of runs is spread; 1: every build holds all of it.", "2"),
    "plan.axial": Meant("How far out the axial points of a central composite lie.", '"face-centred"'),
    "plan.runs_in_build": Meant("Of incomplete blocks: how many runs a build holds.", "3"),
    "plan.baseline_in_every_build": Meant("Of balanced incomplete blocks: every build holds the baseline.", "true"),
    "plan.balance_carry_over": Meant(
        "Of a Latin square: every level comes right after every other one equally often.", "true"
    ),
    "plan.criterion": Meant(
        "What an optimal design is best at: D the model as a whole, A its coefficients, I its predictions.", '"I"'
    ),
    "plan.model": Meant("What an optimal design is to tell.", '"two-factor interactions"'),
    "plan.interactions": Meant(
        "Of an optimal design for main effects: interactions of two that it is to tell beside them.",
        '[["pin", "oil"]]',
    ),
    "plan.forbidden": Meant("Of an optimal design: levels that are never run together.", '[ { pin = "P1" } ]'),
    "plan.limits": Meant("Of an optimal design: sums of numeric factors that keep within limits."),
    "plan.limits.sum": Meant("The factors in the sum, each with its weight.", "{ load_Nm = 1, speed_rpm = 0.05 }"),
    "plan.limits.at_most": Meant("The most that the sum may be.", "250", "that of the sum"),
    "plan.limits.at_least": Meant("The least that the sum may be.", "100", "that of the sum"),
    "plan.repeat_points": Meant(
        "Of an optimal design: how many of its runs repeat another one, for scatter that rests on no model.", "4"
    ),
    "plan.plots": Meant(
        "Of an optimal design: how many units one set has of what is kept over several runs.", "{ part = 8 }"
    ),
    "plan.variance_ratio": Meant(
        "Of an optimal design: the variance between such units over that between runs within, as assumed.", "1.5"
    ),
    "order": Meant("Limits on how closely a comparison may follow the run order; left out: every order may be drawn."),
    "order.most_linear": Meant(
        "The most a comparison may be correlated with the position in the order, over all and within builds.", "0.2"
    ),
    "order.most_quadratic": Meant("The same with the square of the position: drift that bends.", "0.5"),
    "extension": Meant("Phase 2: further runs once the main phase is in, planned and sealed by themselves."),
    "extension.builds": Meant("Further builds, with [blocks]; 0 means not chosen yet.", "2"),
    "extension.replicates": Meant("Without blocks: further runs of each combination; 0 means not chosen yet.", "1"),
    "extension.combinations": Meant(
        "The only combinations that are run again, or of make-up runs those that are run.",
        '[ { pin = "P1", oil = "O1" } ]',
    ),
    "extension.design": Meant("What the further runs are to tell.", '"fold-over"'),
    "extension.swap": Meant("Of a fold-over or semifold: the factors whose two levels are swapped.", '["pin"]'),
    "extension.half": Meant("Of a semifold: the half of the fold-over that is run.", '{ oil = "O1" }'),
    "extension.axial": Meant("How far out axial points lie.", '"face-centred"'),
    "extension.centre_points": Meant("Centre points beside each set of axial points.", "2"),
    "extension.free": Meant(
        "Of freeing runs: effects that are to be told apart from all they are aliased with.", '[["pin", "oil"]]'
    ),
    "extension.comparison": Meant("The comparison that the further runs are sized for.", '"new oil"'),
    "extension.detectable_ratio": Meant("The ratio that comparison is to detect.", "0.8"),
    "cost": Meant("What runs cost and what may be spent; without items plans are compared by runs and hours alone."),
    "cost.currency": Meant("The word that stands behind amounts.", '"EUR"'),
    "cost.budget": Meant("What may be spent on the runs not yet made.", "240000", _MONEY, "no limit"),
    "cost.lost_runs_pct": Meant("The share of runs that is expected to be lost and made again.", "8"),
    "cost.items": Meant("What is paid for: each item is hours times rate, plus an amount, per something."),
    "cost.items.per": Meant("How often the item is paid: for each of these.", '"run"'),
    "cost.items.what": Meant("What is paid for, as tables name it.", '"test cell"'),
    "cost.items.hours": Meant("Hours of it.", "110", "h"),
    "cost.items.rate": Meant("Money for one hour.", "110", f"{_MONEY} per hour"),
    "cost.items.amount": Meant("Money beside the hours.", "450", _MONEY),
    "cost.items.where": Meant("The levels it is paid for.", '{ pin = "P1" }', default="all"),
    "cost.items.of": Meant("Of an item per change: the factor whose changes are paid.", '"oil"'),
    "scatter": Meant("Scatter known before the campaign, each source marked wherever it is used."),
    "scatter.declared_cv_pct": Meant(
        "A guess at the run-to-run scatter, lowest and highest; used while there are no records.", "[10, 20]"
    ),
    "scatter.declared_run_cv_pct": Meant(
        "With positions: the guess at the scatter between runs, beside that within a run.", "[5, 10]"
    ),
    "scatter.history": Meant("A table of the scatter of earlier campaigns on the rig.", '"raw/rig-history.csv"'),
    "scatter.campaigns": Meant("Folders of finished campaigns whose scatter counts too.", '["../chain-2025"]'),
    "scatter.rig": Meant(
        "Which rig, and since when it is as it is; campaigns that name another one do not count.",
        '"stand 3, as rebuilt in May"',
    ),
    "sizing": Meant("What the size is chosen for."),
    "sizing.aim": Meant(
        "shown: the chance that each comparison is shown; half-width: intervals as narrow as asked.", '"half-width"'
    ),
    "sizing.half_width_pct": Meant(
        "How wide intervals may be, log scale: 15 means from the ratio / 1.15 to the ratio x 1.15.", "15"
    ),
    "sizing.half_width": Meant("How wide intervals may be, linear scale.", "1.5", OWN_UNIT),
    "booking": Meant("When the test cell works and what takes how long, for the dates of `wearbook book`."),
    "booking.start": Meant("The first day in the test cell.", '"2026-05-04"'),
    "booking.hours_a_day": Meant("Hours that the test cell works in a day.", "24", "h"),
    "booking.days_a_week": Meant("Days that it works in a week, from Monday on.", "5"),
    "booking.free_days": Meant("Days on which nobody works.", '["2026-05-14"]'),
    "booking.parts_in_days": Meant("From ordering parts until they are there.", "30", "days of the calendar"),
    "booking.metrology_in_days": Meant(
        "From the end of a run until its parts are measured.", "3", "days of the calendar"
    ),
    "booking.laboratory_in_days": Meant(
        "From the end of a run until the figures of its oil are back.", "10", "days of the calendar"
    ),
}
