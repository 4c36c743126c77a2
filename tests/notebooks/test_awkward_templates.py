"""A campaign that is awkward in every way at once goes through every template: seven factors with names as long as
they may be, letters beyond ASCII, no stations, no pilot, aborted runs that leave a combination out, metals below the
limit of the laboratory, a run that is still to come. Every figure is INVENTED."""

from __future__ import annotations

import csv

import numpy as np
import pytest

from tests.notebooks import in_process
from toolkit.campaign import folder as campaign_folder
from toolkit.campaign import log
from toolkit.report.notebooks import TEMPLATES, due

NAMES = [f"name_of_20_letters_{at}" for at in range(7)]
BRIEF = f"""
[campaign]
id = "awkward-7"
question = "INVENTED: welcher der sieben Eingriffe senkt den Verschleiß – 25 µm je 100 h – um ein Fünftel? <b>&"
seed = 11
new_each_run = ["part", "fill"]
{"".join(f'''
[[factor]]
name = "{name}"
undo = "{"setting" if at else "part"}"
levels = {{ wie-heute-{at} = "unverändert, wie seit Jahren üblich", "Äußerst-{at}" = "geändert: Öl à 90 °C, ±0,5 %" }}
''' for at, name in enumerate(NAMES))}
[[response]]
name = "wear_mg"
worthwhile_change_pct = 20
[[response]]
name = "cr_ppm"
role = "secondary"
per_run = "end"
worthwhile_change_pct = 25
{"".join(f'''
[[comparison]]
name = "Eingriff {at} mit einem langen Namen, der fast nicht paßt"
of = {{ {name} = "Äußerst-{at}" }}
against = {{ {name} = "wie-heute-{at}" }}
''' for at, name in enumerate(NAMES[:3]))}
[plan]
design = "two-level fraction"
runs = 8
replicates = 2
[protocol]
run_time_h = {{ target = 100, window = [99, 101] }}
[cost]
currency = "€"
lost_runs_pct = 10
items = [ {{ per = "run", what = "Prüfstand", hours = 100, rate = 100 }} ]
[scatter]
declared_cv_pct = [8, 12]
[booking]
start = "2026-05-04"
hours_a_day = 24
days_a_week = 7
"""


@pytest.fixture
def awkward(tmp_path, monkeypatch):
    """The folder with its brief."""
    monkeypatch.setenv("WEARBOOK_NOW", "2026-03-02T08:00:00+00:00")
    monkeypatch.setenv("WEARBOOK_HEADLESS", "1")
    root = tmp_path / "Prüfung Nr. 7"
    root.mkdir()
    (root / "campaign.toml").write_text(BRIEF, encoding="utf-8")
    return root


def written(path, rows):
    """Rows as a table in raw/."""
    path.parent.mkdir(exist_ok=True)
    with path.open("w", encoding="utf-8", newline="") as handle:
        out = csv.DictWriter(handle, list(rows[0]), lineterminator="\n")
        out.writeheader()
        out.writerows(rows)


def came_back(root):
    """Both runs of a combination aborted, the last run still to come, chromium below the limit in every third run."""
    text = (root / "plan" / "1-main" / "runs.csv").read_text(encoding="utf-8")
    planned = list(csv.DictReader(text.splitlines()))
    gone = tuple(planned[2][name] for name in NAMES)
    draw, runs, oil = np.random.default_rng(5), [], []
    for place, row in enumerate(planned[:-1], start=1):
        lost = tuple(row[name] for name in NAMES) == gone
        wear = 20 * np.exp(-0.3 * (row[NAMES[0]] != "wie-heute-0") + draw.normal(0, 0.1))
        runs.append(
            {**{name: cell for name, cell in row.items() if name != "replicate"}, "actual_order": place,
             "run_time_h": 41 if lost else 100, "wear_mg": "" if lost else f"{wear:.3f}",
             "verdict": "invalid" if lost else "valid", "reason": "Schlauch geplatzt" if lost else "",
             "role": "Prüffeld"}
        )  # fmt: skip
        figure = "<0.5" if place % 3 == 0 else f"{0.5 + draw.uniform(0.1, 1.0):.2f}"
        oil.append({"run_id": row["run_id"], "sample_id": f"S{place}", "at_h": 41 if lost else 100, "cr_ppm": figure})
    written(root / "raw" / "runs.csv", runs)
    written(root / "raw" / "oil.csv", oil)


def test_an_awkward_campaign_goes_through_every_template(awkward, capsys):
    ends = {}
    for name in TEMPLATES:
        if name == "intake":
            came_back(awkward)
        in_process.run(name, campaign=str(awkward), **({"simulate": 0} if name == "size" else {}))
        out = capsys.readouterr().out
        ends[name] = out[out.rindex("wrote: ") :]
        assert "next: " in ends[name] and "Traceback" not in out
    assert "make R16" in ends["intake"]
    assert ends["report"].startswith("wrote: report/awkward-7.html\nnext: open it in a browser\n")
    page = (awkward / "report" / "awkward-7.html").read_text(encoding="utf-8")
    assert "Verschleiß – 25 µm je 100 h – um ein Fünftel? &lt;b&gt;&amp;" in page
    assert len(page) < 1_000_000
    # What is the same for every comparison, response or row is said once.
    assert page.count("<caption>What cannot be told apart</caption>") == 1
    assert page.count("not estimable, for the same reason as &#39;Eingriff 0 mit einem langen Namen") == 4
    assert "every estimate: likelihood with values below their limit" in page
    # Codes of levels keep their words whole beside seven names of twenty letters.
    assert 'class="long tight k1 k2 k3' in page or 'class="tight k1 k2 k3' in page
    # Every step that it has come to is run again by one command.
    again = [name for name, _ in due(campaign_folder.open_campaign(awkward))]
    assert again == list(TEMPLATES)
    assert {row["kind"] for row in log.read(awkward)} == {"sealing", "sealed", "issued", "taken in", "look"}
