"""The words that messages, tables and the report use, in one or two plain sentences each (rank 3).

``standard`` names the open standard whose term it is; the sentence is ours.
"""

from __future__ import annotations

from dataclasses import dataclass

_DESIGN = "ISO 3534-3"
_STATISTICS = "ISO 3534-1"
_PRECISION = "ISO 5725-1"


@dataclass(frozen=True)
class Word:
    """One word of the trade.

    Attributes
    ----------
    name : str
    text : str
        What it means here.
    seen : str
        How it stands in messages, where that is not its name.
    standard : str
        The open standard that has the term; empty: a word of the trade, or our own.
    """

    name: str
    text: str
    seen: str = ""
    standard: str = ""


WORDS: tuple[Word, ...] = (
    Word("advised plan",
         "Of the plans within the budget the cheapest that reaches the asked power for all that any of them reaches it"
         " for. A dearer one that reaches it for nothing more is not advised; `wearbook size` tells what it brings.",
         "is advised"),
    Word("alias",
         "Two effects are aliases when the runs cannot tell them apart: what is estimated is both together. A part"
         " of the combinations has them, a full factorial has none.", "aliased", _DESIGN),
    Word("amendment",
         "A change of a sealed plan with its reason and role; it is sealed in its turn and the plan before it is "
         "kept.", "amend"),
    Word("analysis of variance",
         "A table that sets what each term changes against the scatter of the units that got its levels.",
         standard=_DESIGN),
    Word("assurance",
         "The chance that a difference is shown once the doubt about the scatter is counted too. It is told beside"
         " the power, which takes the scatter as known."),
    Word("axial point",
         "A run in which one numeric factor lies on its outer axis and the others in the middle; it shows how the "
         "response bends.", "axial point", _DESIGN),
    Word("band", "The changes too small to matter: from the worthwhile gain to a loss of the same size."),
    Word("baseline", "The first level of a factor, as it is today."),
    Word("blind code", "A code in place of run and treatment, so that whoever measures cannot know which is which."),
    Word("block",
         "Runs that are alike in something nobody asks about, such as one build; comparisons are made within them.",
         standard=_DESIGN),
    Word("build", "One assembly of the engine; what changes with it is shared by all of its runs."),
    Word("centre point", "A run with every numeric factor in the middle of its levels.", standard=_DESIGN),
    Word("combination", "One level of every factor together: what one run is made with.", standard=_DESIGN),
    Word("Cochran and Cox's critical value",
         "The t of an error that is put together of several strata, one of which has fewer than 3 degrees of "
         "freedom: each t by its share.", "Cochran and Cox"),
    Word("coefficient of variation",
         "The standard deviation as a share of the mean, in per cent.", standard=_STATISTICS),
    Word("covariate",
         "A figure of each run that is neither set nor a result, such as soot; comparisons can be told at equal "
         "values of it."),
    Word("degrees of freedom",
         "How many independent differences an error rests on. The fewer, the wider an interval.", standard=_STATISTICS),
    Word("detectable change", "The smallest true change that a plan shows with the asked power.", "detectable"),
    Word("drift",
         "What rig or gauge change by themselves from run to run. A random order keeps it from passing for a "
         "difference; a comparison that follows the order takes some of it."),
    Word("efficiency",
         "How well the runs of a plan tell its model, against an orthogonal plan of as many runs: D all estimates "
         "together, A their mean variance, G and I the worst and the mean prediction."),
    Word("error stratum",
         "The stratum whose scatter a comparison is judged by: run, build, part or fill.", "stratum"),
    Word("exaggeration",
         "How much too large a change comes out on average when it is shown at all by too few runs.",
         "too large on average"),
    Word("experimental unit",
         "What a level is given to by itself: a run, or the part, fill or build that keeps it.", standard=_DESIGN),
    Word("family", "Comparisons that are judged together, so that the doubt of all of them is counted."),
    Word("fill", "One filling of the sump; what changes with it is shared by all runs on it."),
    Word("finding", "Something odd in the records that a person should look at; it changes nothing by itself."),
    Word("fold-over",
         "Runs of a fraction made again with the levels of factors swapped, which frees effects of their aliases.",
         standard=_DESIGN),
    Word("full factorial", "Every combination of the levels.", standard=_DESIGN),
    Word("gauge", "The instrument and who reads it; its scatter is told from readings that repeat each other."),
    Word("half-normal plot",
         "Effects by size over where chance alone would put them; what lies off the line stands out.", "half-normal"),
    Word("half-width", "Half of an interval: how far the truth may lie from the estimate to either side."),
    Word("held variable", "What the protocol keeps constant, with a target and a window.", "held"),
    Word("Holm's adjustment",
         "Judges several comparisons step by step so that the chance of any false claim stays at alpha.", "Holm"),
    Word("interaction", "The change by one factor depends on the level of another one.", standard=_DESIGN),
    Word("interim", "Told while runs are pending: estimates without claims."),
    Word("interval",
         "The range of true values that the runs leave open at the stated level; 95 of 100 such intervals hold the"
         " truth.", standard=_STATISTICS),
    Word("Kenward-Roger",
         "Corrects error and degrees of freedom where units are few and the runs are not balanced.",
         "Kenward and Roger"),
    Word("Latin square",
         "An arrangement in which every level stands once in every build and once in every place.", standard=_DESIGN),
    Word("Lenth's method", "Judges effects without repeats by each other, as if few of them were real.", "Lenth"),
    Word("leverage", "How far one run alone carries an estimate."),
    Word("look", "Every time the answers of a campaign were worked out; it stands in log.csv."),
    Word("lost", "Said of a figure that was not or cannot be measured any more; it is not waited for."),
    Word("main effect", "The change by one factor, averaged over the others.", standard=_DESIGN),
    Word("median", "The middle value; on the log scale the levels of a factor are told by it.", standard=_STATISTICS),
    Word("multivariate t",
         "Widens the intervals of a family together, by how its comparisons go along with each other."),
    Word("not estimable",
         "The runs that were made cannot tell it, whatever their scatter; a run that would help is named."),
    Word("not interpretable", "Said of a run that was made as planned and tells nothing."),
    Word("p value",
         "How often chance alone would show as much, if there were no change. It is no measure of size.",
         "p = ", _STATISTICS),
    Word("part", "A piece exchanged to change a level; what changes with it is shared by the runs it stays for."),
    Word("pending", "A run that is not made, measured or judged yet."),
    Word("phase", "The pilot, the main phase or the extension; each is planned and sealed by itself."),
    Word("pilot", "A few repeated runs that tell the scatter before the campaign is sized."),
    Word("position", "A place in the engine, such as a cylinder, where parts of several levels run side by side."),
    Word("power", "The chance that a true change of the stated size is shown.", standard=_STATISTICS),
    Word("pure error", "Scatter between runs that are alike in every factor.", "repeat", _DESIGN),
    Word("randomise",
         "To let chance decide the order of runs and which part goes where, so that nothing unseen follows the "
         "treatment.", "randomised", _DESIGN),
    Word("reading", "One measurement of one station; more of them sharpen a run value and are never replicates."),
    Word("reference run", "A run made with everything as it is today, to see what the rig does by itself."),
    Word("replicate",
         "A combination run again from the start, with what is new in every run new again.", standard=_DESIGN),
    Word("residual", "What is left of a run value when everything estimated is taken off it.", standard=_DESIGN),
    Word("resolution",
         "How badly a fraction mixes effects: at 3 main effects are aliased with interactions of two, at 4 these "
         "only with each other.", standard=_DESIGN),
    Word("run", "One build, one fill and one timed execution: what one line of the plan asks for."),
    Word("run sheet", "The page or workbook that goes to the rig with one run and comes back filled in."),
    Word("run value", "The one figure of a run that comparisons rest on, made of its stations, readings or samples."),
    Word("Satterthwaite's approximation",
         "Degrees of freedom of an error that is put together of several strata.", "Satterthwaite"),
    Word("scatter", "How far values differ that should be alike, as a standard deviation or in per cent."),
    Word("seal", "A checksum over brief and run list; what was sealed cannot change unseen."),
    Word("setting", "What is set without taking anything apart, such as a load or a temperature."),
    Word("station", "A place on a part that is measured in every run; a sub-sample, never a replicate."),
    Word("spare part",
         "A part that was issued without a run. It is used where one that was allotted cannot be fitted, and the run "
         "sheet says so.", "spare"),
    Word("stratum",
         "One layer of units, such as builds or runs, with the scatter between them. The design decides which "
         "stratum judges what.", standard=_DESIGN),
    Word("sub-sample", "Something measured inside one unit: stations and readings of a run."),
    Word("treatment", "What a run is given on purpose: its combination of levels.", standard=_DESIGN),
    Word("unit", "What is new as a whole and shared by what lies within it: build, part, fill or run.", "units"),
    Word("variance component",
         "The share of the scatter that comes from one layer: builds, runs, stations, readings.",
         "variance_components", _PRECISION),
    Word("variance inflation",
         "How many times larger the variance of an estimate is because its term goes along with others; 1: it stands "
         "apart from all."),
    Word("verdict",
         "Of a comparison: one of six words, by where its interval lies on the band. Of a run: valid, invalid, not"
         " interpretable or pending."),
    Word("void run",
         "A run that was judged invalid or not interpretable; it stays on record and is not counted.", "void"),
    Word("Welch's degrees of freedom", "Those of a comparison whose sides scatter differently.", "Welch"),
    Word("window", "Two numbers that a held variable is to stay between; outside them a run is reviewed."),
    Word("worthwhile change",
         "The smallest change that matters to the decision; whoever asks says it before any run.", "worthwhile"),
)  # fmt: skip
