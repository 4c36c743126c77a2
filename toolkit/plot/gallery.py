"""Every picture with what it shows and how it is misread: one table, for guide and ``wearbook explain`` (rank 8)."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Picture:
    """One picture.

    Attributes
    ----------
    name : str
        What it is called.
    call : str
        The function that draws it, below ``toolkit.plot``.
    shows : str
        What stands where.
    misread : str
        What it does not say, though it may look so.
    """

    name: str
    call: str
    shows: str
    misread: str


GALLERY: tuple[Picture, ...] = (
    Picture(
        "plan map", "plan.plan_map", "The runs of a phase as fields, a row a build, from left to right as planned.",
        "Fields side by side are not more alike than others: chance put them there.",
    ),
    Picture(
        "strata tree", "strata_tree.strata_tree", "Which units lie within which, and what the scatter of each judges.",
        "Many stations at the bottom do not help a factor that is judged at the top.",
    ),
    Picture(
        "term correlations", "design.correlations", "How far each pair of terms goes along, as a triangle of fields.",
        "A framed pair is not a finding of the runs: the plan itself cannot tell the two apart.",
    ),
    Picture(
        "prediction variance", "design.prediction",
        "In which share of the space a prediction is how sure, in variances of one run.",
        "It says how sure a prediction is if the model is right, not whether the model is right.",
    ),
    Picture(
        "detectable change", "sizing.detectable",
        "The smallest true change each comparison would show with the asked power, over what plans cost.",
        "A change above the line is likely to be shown, not certain; one below it may still be shown.",
    ),
    Picture(
        "promise curves", "promise.curves", "The chance that one plan shows each comparison, over its true change.",
        "The true change is not known: read the curve at the change that would be worthwhile.",
    ),
    Picture(
        "what the money buys", "overview.overview",
        "Detectable changes of comparisons and of terms over cost, and the chances after lost runs.",
        "The lines rest on the scatter known so far; with few runs behind it they may lie far off.",
    ),
    Picture(
        "forecast of verdicts", "forecast.outcomes", "How likely each of the six verdicts is for each comparison.",
        "It holds for the assumed true change alone; nobody knows that the truth is so.",
    ),
    Picture(
        "scatter", "scatter.scatter", "The scatter from each source, each with its interval.",
        "Two sources whose intervals overlap need not be alike: few runs make any interval wide.",
    ),
    Picture(
        "run timeline", "records.timeline",
        "Run values in the order they were run, builds shaded, void runs crossed with their reason.",
        "A slope may be the treatments that came late by chance; the checks of order tell, not the eye.",
    ),
    Picture(
        "station map", "station_map.station_map", "The wear of every station, a row a run and a column a station.",
        "More dark fields are not more evidence: the stations of a run are one run.",
    ),
    Picture(
        "combination means", "means.means", "The mean of each combination with its interval, every run beside it.",
        "Intervals that overlap do not mean that there is no difference; the comparison has an interval of its own.",
    ),
    Picture(
        "interaction", "means.interaction",
        "Combination means, one line a level of the second factor, with the interval of the interaction itself.",
        "Lines that are not parallel are no finding as long as that interval holds no change.",
    ),
    Picture(
        "sides of a comparison", "sides.sides", "The runs that one comparison sets against each other.",
        "Runs of both sides may overlap widely and the means still differ for certain, and the reverse.",
    ),
    Picture(
        "comparisons", "effects.comparisons",
        "Each comparison as an interval on the band of changes too small to matter.",
        "An interval that crosses 'no change' is not a proof of no change: it holds other values as well.",
    ),
    Picture(
        "two responses together", "together.together",
        "Two responses of the same runs, as measured and with treatments and builds taken out.",
        "Both may follow the treatments without one following the other: look at the right side.",
    ),
    Picture(
        "half-normal plot", "half_normal.half_normal", "Effects by size over where chance alone would put them.",
        "It takes for granted that most effects are nil; where many are real the line follows those.",
    ),
    Picture(
        "residual panel", "residuals.panel", "What is left of each run, by fitted value, by order and by quantile.",
        "With a dozen runs chance alone makes patterns; only what leaves the band asks for a look.",
    ),
    Picture(
        "residuals by fitted value", "residuals.by_fitted", "What is left of each run over what was fitted.",
        "A single far point is no funnel; look up that run before another scale is chosen.",
    ),
    Picture(
        "residuals by order", "residuals.by_order", "What is left of each run in the order it was run.",
        "A slope within one build of four runs is what chance draws often.",
    ),
    Picture(
        "residuals by quantile", "residuals.by_quantile", "Residuals in order over the quantiles of a normal scatter.",
        "Points within the band need not lie on the line: the band is what normal scatter gives.",
    ),
    Picture(
        "luck of the draw", "seeds.spread", "Each comparison over many campaigns with the same truth.",
        "It is about an invented truth, and shows how far campaigns of this size scatter, not what yours found.",
    ),
    Picture(
        "windows", "recorded.windows", "A held channel of every run over hours, with its window.",
        "Time outside the window asks for a review; by itself it makes no run invalid.",
    ),
    Picture(
        "sweeps", "recorded.sweeps", "Full-load torque over speed, every sweep laid over the others.",
        "Sweeps of one run are sub-samples: many of them are not many runs.",
    ),
    Picture(
        "reference chart", "reference_chart.reference_chart",
        "Reference runs in order with limits, and how far their level has moved.",
        "A point within its limits does not prove that the rig is still; slow drift shows in the level.",
    ),
    Picture(
        "master drift", "master_drift.master_drift", "What the master reads off in each session.",
        "It is about the gauge alone; the wear of parts is not in it.",
    ),
    Picture(
        "trace before and after", "trace_wear.trace_wear",
        "Both traces of a station over position, and the wear between them.",
        "They are brought together on the zones that do not wear: wear there would be hidden everywhere.",
    ),
    Picture(
        "account of one metal", "oil_account.oil_account",
        "Metal given into the oil over hours: the plain increase, and the account with both bounds.",
        "The band is not a confidence interval: it says what consumed oil may have taken along.",
    ),
    Picture(
        "accounts of all runs", "metals.metals", "The account of one metal for every run, side by side.",
        "More metal in the oil is not more wear of the part in question: other parts give it too.",
    ),
    Picture(
        "mass balance", "mass_balance.mass_balance",
        "Metal found in the oil over metal that the parts lost, run by run, on the band taken for sound.",
        "A recovery in the band is no proof: a lost and a gained share may cancel.",
    ),
)  # fmt: skip
