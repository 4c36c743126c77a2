"""Tables broken in one place each, with the whole message that a person gets; INVENTED."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from tests.unit.intake.material import with_cell, with_column, with_line


@dataclass(frozen=True)
class Broken:
    """One way to break a table.

    Attributes
    ----------
    name : str
    table : str
    made : callable
        The table broken: text or bytes; None when there is no such file.
    messages : tuple of str
        Every line of the message after its headline.
    kind : str
        file: nothing in the table can be read; shape: a column is not what it was; runs: seen only where the
        runs can be read; else empty: a cell or a line.
    """

    name: str
    table: str
    made: Callable[[str], str | bytes | None]
    messages: tuple[str, ...]
    kind: str = ""


EVERY = (
    Broken(
        "column missing",
        "runs",
        lambda text: with_column(text, "soot_pct", None),
        (
            "raw/runs.csv line 1: column 'soot_pct' is missing; expected the columns run_id, phase, "
            "build_id, planned_order, actual_order, pin, load_Nm, run_time_h, sump_temp_degC, "
            "soot_pct, torque_Nm, verdict, reason, role. Add it, also where its cells are blank.",
        ),
        kind="shape",
    ),
    Broken(
        "column unknown",
        "runs",
        lambda text: with_column(text, "pin", "pinn"),
        (
            "raw/runs.csv line 1: unknown column 'pinn'; expected only run_id, phase, build_id, "
            "planned_order, actual_order, pin, load_Nm, run_time_h, sump_temp_degC, soot_pct, "
            "torque_Nm, verdict, reason, role, downtime_h, channel_gap_h, si_ppm, note. Did you mean "
            "'pin'?",
        ),
        kind="shape",
    ),
    Broken(
        "column foreign",
        "oil",
        lambda text: with_column(text, "si_ppm", "colour"),
        (
            "raw/oil.csv line 1: unknown column 'colour'; expected only run_id, sample_id, at_h, "
            "fe_ppm, sampled_kg, topped_up_kg, consumed_kg, lab_id, lab_batch, ferrous_index, note, other "
            "<element>_ppm and <element>_ppm_below_limit. Leave the column out.",
        ),
        kind="shape",
    ),
    Broken(
        "column twice",
        "oil",
        lambda text: with_column(text, "cu_ppm_below_limit", "fe_ppm"),
        ("raw/oil.csv line 1: column 'fe_ppm' stands twice; expected each column once. Delete or rename one of them.",),
        kind="shape",
    ),
    Broken(
        "column without a name",
        "stations",
        lambda text: with_column(text, "part_id", ""),
        (
            "raw/stations.csv line 1: column 2 has no name; expected a name over every column. Name "
            "it, or delete the column.",
            "raw/stations.csv line 1: column 'part_id' is missing; expected the columns run_id, "
            "part_id, station_id, reading, state, elongation_pct. Add it, also where its cells are "
            "blank.",
        ),
        kind="shape",
    ),
    Broken(
        "mark without its element",
        "oil",
        lambda text: with_column(text, "cu_ppm", None),
        (
            "raw/oil.csv: column 'cu_ppm_below_limit' without column 'cu_ppm'; expected both. Add the"
            " column of the element.",
        ),
        kind="shape",
    ),
    Broken(
        "held variable blank",
        "runs",
        lambda text: with_cell(text, 3, "soot_pct", ""),
        (
            "raw/runs.csv line 3, column soot_pct: the cell is blank; expected a number (%). A valid "
            "run needs it; write 'lost' where it was not recorded.",
        ),
    ),
    Broken(
        "decimal comma",
        "runs",
        lambda text: with_cell(text, 3, "sump_temp_degC", "99,8"),
        ("raw/runs.csv line 3, column sump_temp_degC: '99,8'; expected a number with a decimal point. Write 99.8.",),
    ),
    Broken(
        "comma to be read in two ways",
        "runs",
        lambda text: with_cell(text, 4, "soot_pct", "1,500"),
        (
            "raw/runs.csv line 4, column soot_pct: '1,500'; expected a number with a decimal point. A"
            " comma can be read in two ways: write 1500 or 1.500.",
        ),
    ),
    Broken(
        "its own unit typed",
        "stations",
        lambda text: with_cell(text, 2, "elongation_pct", "0.001 %"),
        (
            "raw/stations.csv line 2, column elongation_pct: '0.001 %'; expected a number alone (the "
            "column is in %). Write 0.001.",
        ),
    ),
    Broken(
        "another unit typed",
        "runs",
        lambda text: with_cell(text, 4, "sump_temp_degC", "212 degF"),
        (
            "raw/runs.csv line 4, column sump_temp_degC: '212 degF'; expected a number alone (the "
            "column is in °C). Convert it to °C and write the number alone.",
        ),
    ),
    Broken(
        "infinite",
        "stations",
        lambda text: with_cell(text, 3, "elongation_pct", "inf"),
        (
            "raw/stations.csv line 3, column elongation_pct: 'inf'; expected a finite number. Write "
            "'lost' where there is no figure.",
        ),
    ),
    Broken(
        "too big",
        "stations",
        lambda text: with_cell(text, 4, "elongation_pct", "1e999"),
        ("raw/stations.csv line 4, column elongation_pct: '1e999'; expected a finite number.",),
    ),
    Broken(
        "too small",
        "stations",
        lambda text: with_cell(text, 8, "elongation_pct", "1e-999"),
        (
            "raw/stations.csv line 8, column elongation_pct: '1e-999'; expected nought, or a number "
            "that is not smaller than 1e-300.",
        ),
    ),
    Broken(
        "thousands",
        "oil",
        lambda text: with_cell(text, 4, "fe_ppm", "1,031.0"),
        (
            "raw/oil.csv line 4, column fe_ppm: '1,031.0'; expected a number with a decimal point and"
            " no other sign between its digits.",
        ),
    ),
    Broken(
        "no number",
        "stations",
        lambda text: with_cell(text, 5, "elongation_pct", "n/a"),
        (
            "raw/stations.csv line 5, column elongation_pct: 'n/a'; expected a number alone (the "
            "column is in %). Write 'lost' where there is no figure.",
        ),
    ),
    Broken(
        "below a limit at a station",
        "stations",
        lambda text: with_cell(text, 6, "elongation_pct", "<0.05"),
        (
            "raw/stations.csv line 6, column elongation_pct: '<0.05'; expected a number alone (the "
            "column is in %). Only concentrations in oil take '<'. Write 'lost' where there is no "
            "figure.",
        ),
    ),
    Broken(
        "above the range",
        "oil",
        lambda text: with_cell(text, 3, "fe_ppm", ">500"),
        (
            "raw/oil.csv line 3, column fe_ppm: '>500'; expected a number alone (the column is in "
            "mg/kg). Write 'lost' where there is no figure.",
        ),
    ),
    Broken(
        "typeset minus",
        "stations",
        lambda text: with_cell(text, 7, "elongation_pct", "−0.02"),
        (
            "raw/stations.csv line 7, column elongation_pct: '−0.02'; expected the minus sign of the "
            "keyboard. Write -0.02.",
        ),
    ),
    Broken(
        "unknown level",
        "runs",
        lambda text: with_cell(text, 5, "pin", "P2"),
        ("raw/runs.csv line 5, column pin: 'P2'; expected a level of pin: 'P0' or 'P1'.",),
    ),
    Broken(
        "unknown level near another",
        "runs",
        lambda text: with_cell(text, 6, "pin", "p0"),
        ("raw/runs.csv line 6, column pin: 'p0'; expected a level of pin: 'P0' or 'P1'. Did you mean 'P0'?",),
    ),
    Broken(
        "unknown number as level",
        "runs",
        lambda text: with_cell(text, 5, "load_Nm", "120"),
        ("raw/runs.csv line 5, column load_Nm: '120'; expected a level of load_Nm: '100' or '150.5'.",),
    ),
    Broken(
        "decimal comma in a level",
        "runs",
        lambda text: with_cell(text, 6, "load_Nm", "150,5"),
        ("raw/runs.csv line 6, column load_Nm: '150,5'; expected a number with a decimal point. Write 150.5.",),
    ),
    Broken(
        "unknown phase",
        "runs",
        lambda text: with_cell(text, 6, "phase", "mian"),
        ("raw/runs.csv line 6, column phase: 'mian'; expected 'pilot', 'main' or 'extension'. Did you mean 'main'?",),
    ),
    Broken(
        "half an order",
        "runs",
        lambda text: with_cell(text, 6, "planned_order", "4.5"),
        ("raw/runs.csv line 6, column planned_order: '4.5'; expected a whole number from 1.",),
    ),
    Broken(
        "order blank",
        "runs",
        lambda text: with_cell(text, 5, "actual_order", ""),
        ("raw/runs.csv line 5, column actual_order: the cell is blank; expected a whole number from 1.",),
    ),
    Broken(
        "order twice",
        "runs",
        lambda text: with_cell(text, 4, "actual_order", "1"),
        (
            "raw/runs.csv line 4, column actual_order: place 1 of the main phase also stands on line 3; expected each "
            "place in the order of a phase once. Delete or correct one of them.",
        ),
    ),
    Broken(
        "run twice",
        "runs",
        lambda text: with_cell(text, 8, "run_id", "R01"),
        (
            "raw/runs.csv line 8, column run_id: 'R01' also stands on line 3; expected each run once;"
            " a repeat of a run has a run_id of its own. Delete or correct one of them.",
        ),
    ),
    Broken(
        "run id blank",
        "runs",
        lambda text: with_cell(text, 8, "run_id", " "),
        ("raw/runs.csv line 8, column run_id: the cell is blank; expected the id of the run.",),
    ),
    Broken(
        "unknown verdict",
        "runs",
        lambda text: with_cell(text, 5, "verdict", "vaild"),
        (
            "raw/runs.csv line 5, column verdict: 'vaild'; expected 'valid', 'invalid', 'not "
            "interpretable' or 'pending'. Did you mean 'valid'?",
        ),
    ),
    Broken(
        "void without reason",
        "runs",
        lambda text: with_cell(text, 7, "reason", ""),
        (
            "raw/runs.csv line 7, column reason: the cell is blank; expected why the run is void. A "
            "void run says why it is void and who judged it (a role, no name).",
        ),
    ),
    Broken(
        "void without role",
        "runs",
        lambda text: with_cell(text, 7, "role", ""),
        (
            "raw/runs.csv line 7, column role: the cell is blank; expected the role of who judged it."
            " A void run says why it is void and who judged it (a role, no name).",
        ),
    ),
    Broken(
        "hours of a valid run lost",
        "runs",
        lambda text: with_cell(text, 6, "run_time_h", "lost"),
        (
            "raw/runs.csv line 6, column run_time_h: 'lost'; expected a number (h). A valid run needs"
            " it; leave the verdict pending until it is known.",
        ),
    ),
    Broken(
        "hours below nought",
        "runs",
        lambda text: with_cell(text, 2, "run_time_h", "-3"),
        ("raw/runs.csv line 2, column run_time_h: '-3'; expected a number not below 0.",),
    ),
    Broken(
        "unknown run",
        "stations",
        lambda text: with_cell(text, 10, "run_id", "RO1"),
        (
            "raw/stations.csv line 10, column run_id: unknown run 'RO1'; expected a run of the table "
            "of runs. Did you mean 'R01'?",
        ),
        kind="runs",
    ),
    Broken(
        "run not entered",
        "oil",
        lambda text: with_cell(text, 12, "run_id", "R17"),
        (
            "raw/oil.csv line 12, column run_id: unknown run 'R17'; expected a run of the table of "
            "runs. Enter the run there first, or correct the id.",
        ),
        kind="runs",
    ),
    Broken(
        "reading twice",
        "stations",
        lambda text: with_cell(text, 3, "reading", "1"),
        (
            "raw/stations.csv line 3, column reading: 'P01 C-1 1 1 before' also stands on line 2; "
            "expected each reading of a station once in each state. Delete or correct one of them.",
        ),
    ),
    Broken(
        "unknown state",
        "stations",
        lambda text: with_cell(text, 9, "state", "befor"),
        ("raw/stations.csv line 9, column state: 'befor'; expected 'before' or 'after'. Did you mean 'before'?",),
    ),
    Broken(
        "state blank",
        "stations",
        lambda text: with_cell(text, 12, "state", ""),
        ("raw/stations.csv line 12, column state: the cell is blank; expected before or after.",),
    ),
    Broken(
        "reading nought",
        "stations",
        lambda text: with_cell(text, 13, "reading", "0"),
        ("raw/stations.csv line 13, column reading: '0'; expected a whole number from 1.",),
    ),
    Broken(
        "station blank",
        "stations",
        lambda text: with_cell(text, 14, "station_id", ""),
        ("raw/stations.csv line 14, column station_id: the cell is blank; expected the id of the station.",),
    ),
    Broken(
        "long name",
        "stations",
        lambda text: with_cell(text, 15, "part_id", "C" * 101),
        (
            "raw/stations.csv line 15, column part_id: 'CCCCCCCCCCCCCCCCCCCCCCCCCCCCCCCCCCCCCCCC…'; "
            "expected a name of at most 100 printable characters.",
        ),
    ),
    Broken(
        "name that cannot be printed",
        "stations",
        lambda text: with_cell(text, 16, "part_id", "C\u200b1"),
        (
            "raw/stations.csv line 16, column part_id: 'C\\x200b1'; expected a name of at most 100 "
            "printable characters.",
        ),
    ),
    Broken(
        "sample twice",
        "oil",
        lambda text: with_cell(text, 5, "sample_id", "O-01"),
        (
            "raw/oil.csv line 5, column sample_id: 'O-01' also stands on line 2; expected each sample"
            " once. Delete or correct one of them.",
        ),
    ),
    Broken(
        "concentration below nought",
        "oil",
        lambda text: with_cell(text, 6, "fe_ppm", "'-1"),
        (
            "raw/oil.csv line 6, column fe_ppm: '-1'; expected a concentration not below 0. Below the"
            " limit of the laboratory write '<' and the limit.",
        ),
    ),
    Broken(
        "below the limit and not",
        "oil",
        lambda text: with_cell(text, 7, "cu_ppm_below_limit", "no"),
        (
            "raw/oil.csv line 7, column cu_ppm_below_limit: not marked as below the limit, though "
            "cu_ppm is '<1'; expected the two to agree. Correct one of them.",
        ),
    ),
    Broken(
        "below no limit",
        "oil",
        lambda text: with_cell(text, 11, "cu_ppm", "lost"),
        (
            "raw/oil.csv line 11, column cu_ppm_below_limit: marked as below the limit, without a "
            "figure; expected the limit in column cu_ppm. Write the laboratory's limit there.",
        ),
    ),
    Broken(
        "neither yes nor no",
        "oil",
        lambda text: with_cell(text, 9, "cu_ppm_below_limit", "perhaps"),
        (
            "raw/oil.csv line 9, column cu_ppm_below_limit: 'perhaps'; expected 'true', '1', 'yes', "
            "'false', '0' or 'no'.",
        ),
    ),
    Broken(
        "limit missing",
        "oil",
        lambda text: with_cell(text, 10, "si_ppm", "<"),
        ("raw/oil.csv line 10, column si_ppm: '<'; expected a limit after '<'. Write '<0.5' or the like.",),
    ),
    Broken(
        "hours of a sample blank",
        "oil",
        lambda text: with_cell(text, 11, "at_h", ""),
        ("raw/oil.csv line 11, column at_h: the cell is blank; expected hours into the run (0 before it).",),
    ),
    Broken(
        "unknown stratum",
        "rig-history",
        lambda text: with_cell(text, 3, "stratum", "engine"),
        (
            "raw/rig-history.csv line 3, column stratum: 'engine'; expected 'build', 'run', 'position', 'station' or "
            "'reading'.",
        ),
    ),
    Broken(
        "sd of nought",
        "rig-history",
        lambda text: with_cell(text, 4, "sd", "0"),
        ("raw/rig-history.csv line 4, column sd: '0'; expected a number above 0.",),
    ),
    Broken(
        "history twice",
        "rig-history",
        lambda text: with_cell(text, 4, "campaign_id", "C1"),
        (
            "raw/rig-history.csv line 4, column campaign_id: 'C1 elongation_pct log mean run' also "
            "stands on line 2; expected each stratum of a campaign's response once. Delete or correct"
            " one of them.",
        ),
    ),
    Broken(
        "too few cells",
        "stations",
        lambda text: with_line(text, 21, lambda line: line.rsplit(",", 1)[0]),
        (
            "raw/stations.csv line 21: 5 cells; expected 6 cells, as in the header. Look for a comma "
            "too many or too few; put a text that holds a comma in double quotes.",
        ),
    ),
    Broken(
        "too many cells",
        "oil",
        lambda text: with_line(text, 2, lambda line: line + ",1"),
        (
            "raw/oil.csv line 2: 8 cells; expected 7 cells, as in the header. Look for a comma too "
            "many or too few; put a text that holds a comma in double quotes.",
        ),
    ),
    Broken(
        "open quote",
        "runs",
        lambda text: with_line(text, 3, lambda line: line.replace("valid", '"valid')),
        (
            "raw/runs.csv line 3: a double quote that does not open and close one cell of this line; "
            "expected double quotes around a whole cell, on one line. A quote within a cell is "
            "written twice.",
        ),
    ),
    Broken(
        "10 MB in a line",
        "oil",
        lambda text: with_line(text, 2, lambda line: "1" * 10_000_000),
        (
            "raw/oil.csv line 2: 10000000 characters in one line; expected at most 100000. The file "
            "is damaged or no table: save it as CSV again.",
        ),
    ),
    Broken(
        "long cell",
        "runs",
        lambda text: with_cell(text, 7, "reason", "x" * 1001),
        (
            "raw/runs.csv line 7: a cell of 1001 characters "
            "('xxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxxx…'); expected at most 1000.",
        ),
    ),
    Broken(
        "other encoding",
        "oil",
        lambda text: text.replace("O-05", "Öl-5").encode("latin-1"),
        (
            "raw/oil.csv line 6: a byte that is not UTF-8 (0xd6); expected text in UTF-8. Save the "
            "table as CSV, UTF-8, with commas between the columns.",
        ),
        kind="file",
    ),
    Broken(
        "UTF-16",
        "oil",
        lambda text: text.encode("utf-16"),
        (
            "raw/oil.csv: text in UTF-16; expected text in UTF-8. Save the table as CSV, UTF-8, with "
            "commas between the columns.",
        ),
        kind="file",
    ),
    Broken(
        "NUL",
        "stations",
        lambda text: text.replace("R01", "R\x0001", 1),
        (
            "raw/stations.csv line 14: a NUL byte; expected text only. The file is damaged or no "
            "text: save it as CSV again.",
        ),
        kind="file",
    ),
    Broken(
        "control character",
        "rig-history",
        lambda text: text.replace("C1", "C\x1b[31m", 1),
        (
            "raw/rig-history.csv line 2: a control character (0x1b); expected text only. The file is "
            "damaged or no text: save it as CSV again.",
        ),
        kind="file",
    ),
    Broken(
        "empty file",
        "oil",
        lambda text: "",
        (
            "raw/oil.csv: an empty file; expected a header line with the names of the columns. Write "
            "the header line, or delete the file while there are no records.",
        ),
        kind="file",
    ),
    Broken(
        "blank file",
        "rig-history",
        lambda text: "\ufeff \n\n",
        (
            "raw/rig-history.csv: an empty file; expected a header line with the names of the "
            "columns. Write the header line, or delete the file while there are no records.",
        ),
        kind="file",
    ),
    Broken(
        "spreadsheet under another name",
        "runs",
        lambda text: b"PK\x03\x04" + text.encode(),
        (
            "raw/runs.csv: a spreadsheet or zip file, whatever its name says; expected a CSV file. "
            "Save the table as CSV, UTF-8, with commas between the columns.",
        ),
        kind="file",
    ),
    Broken(
        "semicolons",
        "oil",
        lambda text: text.replace(",", ";"),
        (
            "raw/oil.csv line 1: columns between semicolons; expected columns between commas. Save it"
            " as CSV with commas; numbers then need a decimal point.",
        ),
        kind="file",
    ),
    Broken(
        "tabs",
        "stations",
        lambda text: text.replace(",", "\t"),
        (
            "raw/stations.csv line 1: columns between tabs; expected columns between commas. Save it "
            "as CSV with commas; numbers then need a decimal point.",
        ),
        kind="file",
    ),
    Broken(
        "line for a spreadsheet",
        "oil",
        lambda text: "sep=,\n" + text,
        (
            "raw/oil.csv line 1: 'sep=,'; expected the names of the columns. Delete this line; "
            "columns stand between commas.",
        ),
        kind="file",
    ),
    Broken(
        "too many rows",
        "stations",
        lambda text: text + "R01,C-2,1,1,before,0\n" * 20_000,
        ("raw/stations.csv line 20002: more than 20000 rows; expected at most 20000 rows.",),
        kind="file",
    ),
    Broken(
        "too many lines",
        "oil",
        lambda text: text + "\n" * 200_001,
        ("raw/oil.csv: more than 200000 line ends; expected at most 20000 rows.",),
        kind="file",
    ),
    Broken(
        "too many bytes",
        "rig-history",
        lambda text: text + " " * 20_000_000,
        (
            "raw/rig-history.csv: 20000257 bytes; expected at most 20000000 bytes. Only the tables of"
            " this campaign belong here, not channel logs.",
        ),
        kind="file",
    ),
    Broken(
        "too many columns",
        "oil",
        lambda text: text.replace("run_id", "run_id" + ",x" * 500, 1),
        ("raw/oil.csv line 1: 507 columns; expected at most 500.",),
        kind="file",
    ),
    Broken(
        "no runs yet",
        "runs",
        lambda text: None,
        (
            "raw/runs.csv: there is no such file, though raw/stations.csv and raw/oil.csv are there; "
            "expected the runs that the others belong to. Enter the runs first.",
        ),
        kind="file",
    ),
    Broken(
        "no history",
        "rig-history",
        lambda text: None,
        (
            "raw/rig-history.csv: there is no such file, though [scatter] history in campaign.toml "
            "names it; expected a table of earlier campaigns. Put it there, or take the line out of "
            "campaign.toml.",
        ),
        kind="file",
    ),
)
