"""What the keys say that hold runs constant, judge them and read what is measured on them (rank 3)."""

from __future__ import annotations

from toolkit.explain.meant import NAMED_UNIT, OWN_UNIT, Meant

_PAIR = "mg/kg"
_POSITION = "that of position_in"
_CHANNEL = NAMED_UNIT

MEASURED: dict[str, Meant] = {
    "held": Meant("Variables that are kept constant, one line for each; NAME ends in what it is measured in."),
    "held.NAME.target": Meant("What the variable is to be.", "100", NAMED_UNIT),
    "held.NAME.window": Meant("Outside these two numbers a run is reviewed.", "[98.5, 101.5]", NAMED_UNIT),
    "held.NAME.limits": Meant("Outside these two numbers a run is invalid.", "[94, 106]", NAMED_UNIT, "none"),
    "protocol": Meant("How long a run lasts, what may go wrong in it, and who judges it."),
    "protocol.run_time_h": Meant("The hours of a run, with target and window as of a held variable."),
    "protocol.run_time_h.target": Meant("How long a run is to last.", "100", "h"),
    "protocol.run_time_h.window": Meant("Outside these hours a run is reviewed.", "[99, 101]", "h"),
    "protocol.run_time_h.limits": Meant("Outside these hours a run is invalid.", "[90, 110]", "h", "none"),
    "protocol.max": Meant("The most of what may go wrong in a run; beyond it a run is invalid.", "{ downtime_h = 24 }"),
    "protocol.not_interpretable": Meant(
        "Bounds beyond which a run counts as made and says nothing, in place of invalid.", '["downtime_h"]'
    ),
    "protocol.judged_by": Meant("The role that gives verdicts.", '"test engineer"', default="whoever notes them"),
    "received": Meant(
        "How a table that comes back with headings of its own is read; may be added at any time, no seal covers it."
    ),
    "received.name": Meant("What `wearbook intake --as` calls it.", '"metrology room"'),
    "received.table": Meant("Which of our tables it fills.", '"stations"'),
    "received.columns": Meant("Our columns and their headings.", '{ part_id = "Part", wear_um = "Wear" }'),
    "received.files": Meant("A pattern of the file names it is used for.", '"cmm-*.xlsx"', default="only when named"),
    "received.sheet": Meant("The sheet of a workbook with several.", '"Results"'),
    "received.measured_in": Meant("What their figures are measured in; they are converted.", '{ wear_um = "mm" }'),
    "received.always": Meant("What stands in a column throughout that the file lacks.", '{ state = "after" }'),
    "received.levels": Meant("Their words for our levels.", '{ pin = { P0 = "bare" } }'),
    "received.decimal": Meant(
        "How they write decimals.", '"comma"', default="told from each cell; what reads in two ways is refused"
    ),
    "oil": Meant("What the account of the metals in the oil rests on; nothing is corrected that was not asked for."),
    "oil.fill_kg": Meant("Oil in the sump at the start of a run, once the zero-hour sample is drawn.", "4.3"),
    "oil.liquid_share": Meant(
        "The share of consumed oil that takes its metal along: 1 for leaks and burnt oil, 0 for vapour.", "0.5"
    ),
    "oil.marker": Meant(
        "An element that only some of the oils hold; it tells how much of the fill before is left.", '"mo_ppm"'
    ),
    "oil.most_carry_over_pct": Meant("More of the fill before than this is a finding.", "2"),
    "oil.zero_from_carry_over": Meant(
        "true: a zero-hour figure that is missing is worked out from the fill before, and said.", "true"
    ),
    "oil.most_rise_ppm": Meant(
        "How far elements of dirt or coolant may rise above the card in a run.", "{ si_ppm = 15, na_ppm = 20 }"
    ),
    "oil.precision": Meant("Limits of two figures of one element in your laboratory; NAME is the element."),
    "oil.precision.NAME.within_batch": Meant(
        "a and b of the 95 % limit a * X ** b, both figures in one batch.", "[0.13, 0.8]", _PAIR
    ),
    "oil.precision.NAME.between_batches": Meant(
        "a and b of the 95 % limit a * X ** b, figures of two batches.", "[0.3, 0.8]", _PAIR
    ),
    "oil.precision.NAME.between_labs": Meant(
        "a and b of the 95 % limit a * X ** b, figures of two laboratories.", "[0.52, 0.8]", _PAIR
    ),
    "oil.mg_per_unit": Meant(
        "The metal that one unit of a wear response gives; it sets the oil against the parts.",
        "{ fe_ppm = { wear_um = 0.6 } }",
        "mg",
    ),
    "oil.viscosity_at": Meant("The held temperature at which the viscosity in the sump is worked out.",
                              '"sump_temp_degC"'),
    "oil.recovery_band": Meant("Metal in the oil over metal lost that is taken for sound.", "[0.2, 3]"),
    "oil_card": Meant("What one oil holds when it is new, from its analysis; written once for each oil."),
    "oil_card.name": Meant("What the oil is called.", '"current oil"'),
    "oil_card.where": Meant("The levels that are run with it.", '{ oil = "O0" }', default="all runs"),
    "oil_card.new_ppm": Meant("Its elements when it is new.", "{ fe_ppm = 1, ca_ppm = 2000 }"),
    "oil_card.within_pct": Meant("How far a zero-hour sample may lie from the card.", "15"),
    "oil_card.kv40_mm2_s": Meant("Its kinematic viscosity at 40 degrees Celsius.", "62"),
    "oil_card.kv100_mm2_s": Meant("Its kinematic viscosity at 100 degrees Celsius.", "11"),
    "traces": Meant("How the wear of stations is read from traces of the surface before and after, in raw/traces."),
    "traces.response": Meant("The response they give; it has stations and no states.", '"profile_um"'),
    "traces.files": Meant(
        "A pattern of names in raw/traces: * for anything, {part_id} and the like where the name tells them.",
        '"{part_id}_*.csv"',
    ),
    "traces.reference": Meant(
        "Zones that do not wear; the two traces are brought together on them alone.", "[[0, 1.5], [8.5, 10]]",
        _POSITION,
    ),
    "traces.worn": Meant("The zone whose wear is told.", "[2, 8]", _POSITION),
    "traces.take": Meant("What is taken of it.", '"mean"'),
    "traces.positions": Meant(
        "A scheme of places in place of a worn zone.", "[-14, -10, -4, 0, 4, 10, 14]", _POSITION
    ),
    "traces.columns": Meant("Our columns and their headings.", '{ position = "X", height = "Z" }'),
    "traces.position_in": Meant("What positions are measured in.", '"mm"'),
    "traces.height_in": Meant("What heights are measured in.", '"um"'),
    "traces.decimal": Meant("How decimals are written in the files.", '"comma"'),
    "traces.width_mm": Meant("The width of the track, for a volume.", "3.2"),
    "traces.may_move": Meant("What may differ between the two settings on the gauge.", '["shift", "offset"]'),
    "master": Meant("An artefact that does not wear, read again and again; it tells the drift of the gauge."),
    "master.name": Meant("Its id in raw/masters.csv.", '"bar-1"'),
    "master.response": Meant("The response that is measured by the same gauge.", '"wear_um"'),
    "master.value": Meant("Its value as certified.", "40.2", OWN_UNIT),
    "master.value_sd": Meant("The standard uncertainty of that value.", "0.1", OWN_UNIT),
    "master.correct": Meant(
        "none tells drift and takes nothing off; session and line take off what the master reads.", '"session"'
    ),
    "reference": Meant("Reference runs: what the rig does while nothing is changed on purpose."),
    "reference.combination": Meant(
        "A level of every factor.", '{ pin = "P0", oil = "O0" }', default="the baseline of each"
    ),
    "reference.conf_level": Meant("How often a point lies within its limits if nothing changed.", "0.9973"),
    "reference.history": Meant("Earlier reference runs in their order.", '"raw/reference-runs.csv"'),
    "reference.adjust": Meant(
        "true: answers with runs adjusted by the references near them stand beside the verdicts.", "true"
    ),
    "dyno_log": Meant("How recordings of the dynamometer in raw/dyno are read, and what they give to the runs."),
    "dyno_log.time": Meant("The heading of the time.", '"Time [s]"'),
    "dyno_log.columns": Meant(
        "Our channels and their headings. A channel with the name of a held variable gives its mean to the run.",
        '{ speed_rpm = "N", torque_Nm = "M" }',
    ),
    "dyno_log.time_in": Meant("What the time is measured in; clock means dates and times.", '"s"'),
    "dyno_log.measured_in": Meant("What their figures are measured in; they are converted.",
                                  '{ torque_Nm = "ft-lb" }'),
    "dyno_log.missing": Meant("Figures that the recorder writes where it has none.", "[-9999]"),
    "dyno_log.separator": Meant("What stands between cells.", '";"'),
    "dyno_log.decimal": Meant("How decimals are written.", '"comma"'),
    "dyno_log.longest_step_s": Meant("A longer step between readings is a gap and is not credited.", "5"),
    "dyno_log.gives": Meant("Columns of the runs and what gives them: hours, gaps, sweep power ..., or a channel.",
                            '{ downtime_h = "gaps" }'),
    "dyno_log.review_deviation_pct": Meant("More per cent deviation in a held channel asks for a review.", "2.5"),
    "dyno_log.steady": Meant("When the engine runs steadily; held windows are judged there alone."),
    "dyno_log.steady.within": Meant("The range each channel must lie in.", "{ speed_rpm = [1400, 3600] }", _CHANNEL),
    "dyno_log.steady.settle_s": Meant("How long all of them must have lain there before readings count.", "600"),
    "dyno_log.sweeps": Meant("What counts as a full-load sweep, and what is taken from it."),
    "dyno_log.sweeps.speed": Meant("The channel of the speed.", '"speed_rpm"'),
    "dyno_log.sweeps.torque": Meant("The channel of the torque.", '"torque_Nm"'),
    "dyno_log.sweeps.load": Meant("The channel that is high at full load.", '"torque_Nm"'),
    "dyno_log.sweeps.low_rpm": Meant("A sweep rises from below this speed.", "1500"),
    "dyno_log.sweeps.high_rpm": Meant("A sweep rises to above this speed.", "5500"),
    "dyno_log.sweeps.full_load": Meant("What the channel load reads at full load.", "180", _CHANNEL),
    "dyno_log.sweeps.shortest_s": Meant("A shorter rise is no sweep.", "20"),
    "dyno_log.sweeps.window_rpm": Meant("Torque and power are means over it.", "[2500, 4500]"),
    "dyno_log.sweeps.step_rpm": Meant("The steps of speed in which a sweep is averaged.", "50"),
    "dyno_log.sweeps.leave_out": Meant("How many sweeps at the start do not count.", "1"),
    "dyno_log.sweeps.asked": Meant("How many sweeps the protocol asks for; 0: not said.", "6"),
    "dyno_log.standard": Meant("How full-load figures are brought to standard conditions, the raw ones kept beside."),
    "dyno_log.standard.form": Meant("The published form that is used.", '"ISO 1585 spark"'),
    "dyno_log.standard.charging": Meant("How the engine is charged.", '"naturally aspirated"'),
    "dyno_log.standard.pressure": Meant("The channel of the air's pressure.", '"baro_kPa"'),
    "dyno_log.standard.temperature": Meant("The channel of the air's temperature.", '"inlet_air_degC"'),
    "dyno_log.standard.humidity": Meant("The channel of the relative humidity.", '"humidity_pct"'),
    "dyno_log.standard.fuel_mg_per_L": Meant(
        "Fuel a litre and cycle at full load, for compression ignition.", "55", "mg/L"
    ),
}  # fmt: skip
