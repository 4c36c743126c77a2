"""What a plan tells at a terminal of the order of its runs: no column twice, no table of dashes."""

from __future__ import annotations

from toolkit.cli import main

NONE_TOLD = "These runs tell none of the comparisons by themselves, so none can go along with their order."


def test_the_order_is_told_once_and_not_at_all_where_no_comparison_is(tmp_path, capsys):
    campaign = tmp_path / "chain"
    asked = ["--question", "INVENTED?", "--factor", "coating: part: none, CrN", "--factor", "oil: fill: O1, O2"]
    assert main(["new", str(campaign), *asked]) == 0
    brief = campaign / "campaign.toml"
    text = brief.read_text(encoding="utf-8")
    text = text.replace('[blocks]\nby = "build" ', '# [blocks]\n# by = "build" ')
    text = text.replace("\nreplicates = 0 ", "\nreplicates = 2 ")
    brief.write_text(text, encoding="utf-8")
    assert main(["plan", str(campaign), "--phase", "pilot"]) == 0
    told = capsys.readouterr().out.splitlines()
    assert NONE_TOLD in told and not any(line.startswith("Correlation of each") for line in told)
    assert main(["plan", str(campaign), "--phase", "main"]) == 0
    told = capsys.readouterr().out.splitlines()
    at = told.index("Correlation of each comparison with run order (0: a steady drift does not touch it):")
    assert told[at + 1].split() == ["comparison", "over", "the", "campaign", "with", "its", "square"]
    assert NONE_TOLD not in told
    # The brief has no builds: the one that every run is recorded in is not told of.
    assert told[0].startswith("full factorial, 2 replicates: 8 runs; randomised: all runs at random (seed ")
    assert told[2].split() == ["run_id", "phase", "planned_order", "coating", "oil"]
