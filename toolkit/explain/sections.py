"""Where the guide treats a subject: the one place that maps a key, a verb, a word or a file to its heading (rank 3).

Subjects are named as a person writes them: ``[plan] builds``, ``wearbook plan``, ``stratum``, ``stations.csv``. A key
without a line of its own is treated where its section is. Headings stand without their numbers, which move.
"""

from __future__ import annotations

STORY = "01-the-bundled-campaign"
SHOES = "02-published-shoe-soles"
BLOCKED = "03-published-blocked-factorial"
ONE_RUN = "04-one-run-from-its-files-to-its-row"
BEFORE = "05-questions-before-the-runs"
AFTER = "06-questions-after-the-runs"
STATIONS = "07-stations-are-not-replicates"
MISSING = "08-the-missing-combination"
HARD = "09-hard-to-change-factors"
STOP = "10-when-to-stop"
IRON = "11-wear-and-ppm"
# The page that has every picture, for those that the guide treats nowhere else.
PICTURES = ("13-every-picture", "The pictures")

_MONEY = (BEFORE, '"I have money for twelve runs. Will they show a fifth less wear?"')
_NOISE = (BEFORE, '"Here are my four pilot runs. How noisy is my test really?"')
_STATIONS = (BEFORE, '"I measured ten segments on every chain. Is that ten times the data?"')
_UNDONE = (BEFORE, '"Changing the sprocket is a week-end, oil is an afternoon. In what order?"')
_ERROR = (BEFORE, '"Which error judges what?"')
_REPLICATES = (BEFORE, '"How many replicates do I need?"')
_WORTHWHILE = (BEFORE, '"Which difference counts as worthwhile?"')
_LOOKING = (STOP, "A look on the way gives estimates and no claims")
_STOPPED = (AFTER, '"A run stopped early. Keep it?"')
_HOT = (AFTER, '"The oil was hot one night. Is the run dead?"')
_DRIFT = (AFTER, '"Is the engine drifting?"')
_ENOUGH = (AFTER, '"The coating looks a third better. Is that real, and is it enough?"')
_TOGETHER = (AFTER, '"Does the coating only work with the new oil?"')
_ODD = (AFTER, '"One run looks odd. May I throw it away?"')
_ONCE = (AFTER, '"One run of each combination: why is there no interval?"')
_FURTHER = (AFTER, '"What should I run next, and when do I stop?"')
_QUESTION, _PILOT, _SIZE = (STORY, "The question"), (STORY, "The pilot"), (STORY, "How many runs?")
_PLAN, _RECORDS, _ANSWERS = (STORY, "The plan and its order"), (STORY, "The records"), (STORY, "The answers")
_DECISION, _JOB = (STORY, "The decision"), (STORY, "The bundled campaign, step by step")
_OLDER = (AFTER, '"Can I add last year\'s data?"')
_FILES, _METALS = (ONE_RUN, "The files of the run"), (ONE_RUN, "Metals against hours, with all corrections")
_GAUGE, _RIG = (ONE_RUN, "Is the gauge still the same?"), (ONE_RUN, "Is the rig still the same?")
_TRACES, _RECORDINGS = (ONE_RUN, "A pin before and after"), (ONE_RUN, "The recordings of the test cell")
_ROW, _NOTICED = (ONE_RUN, "The row"), (ONE_RUN, "What was noticed")

GUIDE: dict[str, tuple[str, str]] = {
    "[campaign]": _QUESTION, "[[factor]]": _UNDONE, "[positions]": _UNDONE, "[blocks]": _ERROR,
    "[[response]]": _STATIONS, "[[response]] worthwhile_change_pct": _WORTHWHILE,
    "[[response]] worthwhile_change": _WORTHWHILE, "[[response]] gauge_sd": _GAUGE, "[[comparison]]": _WORTHWHILE,
    "[[comparison]] interaction": _TOGETHER, "[[covariate]]": _HOT, "[held]": _HOT, "[protocol]": _STOPPED,
    "[pilot]": _PILOT, "[scatter]": _NOISE, "[plan]": _PLAN, "[plan] builds": _REPLICATES,
    "[plan] replicates": _REPLICATES, "[plan] nil_interactions": _ONCE, "[order]": _PLAN, "[extension]": _FURTHER,
    "[cost]": _MONEY, "[sizing]": _MONEY, "[[received]]": _FILES, "[oil]": _METALS, "[[oil_card]]": _METALS,
    "[[traces]]": _TRACES, "[[master]]": _GAUGE, "[reference]": _RIG, "[dyno_log]": _RECORDINGS,
    "wearbook new": _QUESTION, "wearbook check": _QUESTION, "wearbook size": _SIZE, "wearbook plan": _PLAN,
    "wearbook sheets": _FILES, "wearbook intake": _FILES, "wearbook note": _STOPPED, "wearbook amend": _STOPPED,
    "wearbook status": _RECORDS, "wearbook analyse": _ANSWERS, "wearbook next": _FURTHER,
    "wearbook report": _DECISION, "wearbook verify": _RECORDS,
    "campaign.toml": _QUESTION, "runs.csv": _RECORDS, "stations.csv": _FILES, "oil.csv": _METALS, "gauge.csv": _GAUGE,
    "masters.csv": _GAUGE, "log.csv": _RECORDS, "raw/dyno": _RECORDINGS, "raw/traces": _TRACES, "run sheet": _FILES,
    "alias": (BLOCKED, "Before fitting"), "analysis of variance": (BLOCKED, "The analysis of variance"),
    "assurance": _MONEY, "power": _MONEY, "detectable change": _MONEY, "band": _ENOUGH, "interval": _ENOUGH,
    "verdict": _ENOUGH, "block": (SHOES, "Without the blocks"), "drift": _DRIFT, "build": _UNDONE, "fill": _UNDONE,
    "part": _UNDONE, "setting": _UNDONE, "position": _UNDONE, "advised plan": _MONEY,
    "degrees of freedom": _ERROR, "stratum": _ERROR,
    "error stratum": (HARD, "The analysis has two lines of error"), "experimental unit": _ERROR,
    "unit": _ERROR, "exaggeration": (BEFORE, '"How wrong would my old one-each comparison have been?"'),
    "gauge": _GAUGE, "interaction": _TOGETHER, "interim": _LOOKING, "look": _LOOKING,
    "not estimable": (MISSING, "Nothing that averages over the hole can be estimated"),
    "combination means": (MISSING, "What is left: one factor at a time, the other as it was"),
    "[[response]] stations": (STATIONS, "The segments of a chain share their run"),
    "two responses together": (IRON, "Within treatments they may go together, and these runs hardly know"),
    "p value": (AFTER, '"*p* is above five per cent, so there is no difference?"'), "pilot": _NOISE,
    "scatter": _NOISE, "randomise": _UNDONE, "reference run": _DRIFT, "replicate": _REPLICATES, "run value": _ROW,
    "seal": _PLAN,
    "reading": (BEFORE, '"Can\'t I just measure more links instead of making more runs?"'), "station": _STATIONS,
    "sub-sample": _STATIONS, "void run": _STOPPED, "residual": _ODD, "window": _HOT, "held variable": _HOT,
    "covariate": _HOT, "worthwhile change": _WORTHWHILE, "half-normal plot": _ONCE, "Lenth's method": _ONCE,
    "finding": _NOTICED, "plan map": _PLAN, "forecast of verdicts": _WORTHWHILE,
    "run timeline": _RECORDS, "station map": (ONE_RUN, "The station map"), "comparisons": (SHOES, "The answer"),
    "luck of the draw": (STORY, "How much of this is luck?"), "master drift": _GAUGE,
    "trace before and after": _TRACES, "account of one metal": _METALS,
    "[old_data]": _OLDER, "[families]": _QUESTION, "[booking]": _PLAN,
    "wearbook book": _PLAN, "wearbook demo": _JOB, "wearbook lab": _JOB, "wearbook notebooks": _JOB,
    "wearbook rerun": _RECORDS,
    "amendment": _STOPPED, "baseline": _QUESTION, "blind code": _FILES, "coefficient of variation": _NOISE,
    "combination": _PLAN, "full factorial": _PLAN, "half-width": _ENOUGH, "leverage": _ODD, "efficiency": _PLAN,
    "variance inflation": _PLAN, "spare part": _FILES, "main effect": _ANSWERS,
    "median": _ANSWERS, "not interpretable": _STOPPED,
    "pending": (STOP, "What the runs that are still to come could do"), "phase": _PILOT,
    "run": _ROW, "treatment": _QUESTION, "family": _QUESTION,
    "variance component": (AFTER, '"The scatter between builds comes out as nought. Is something broken?"'),
    "plan/": _PLAN, "raw/received": _RECORDS, "runsheets/": _FILES, "derived/": _ANSWERS, "report/": _DECISION,
    "notebooks/": _JOB,
    # What an error of this class is about where its words name nothing nearer.
    "BriefError": _QUESTION, "DesignError": _PLAN, "SizingError": _SIZE, "IntakeError": _FILES, "ModelError": _ANSWERS,
    "CampaignError": _JOB, "IntegrityError": _PLAN,
}  # fmt: skip


def of(subject: str) -> tuple[str, str] | None:
    """Notebook and heading that treat a subject, its own or that of its section; None where there is none.

    Examples
    --------
    >>> of("[plan] split_over")
    ('01-the-bundled-campaign', 'The plan and its order')
    >>> of("[[response]] stations.count")
    ('07-stations-are-not-replicates', 'The segments of a chain share their run')
    """
    if subject in GUIDE or not subject.startswith("["):
        return GUIDE.get(subject)
    section, _, key = subject.partition(" ")
    above = key.rpartition(".")[0]
    return of(f"{section} {above}" if above else section) if key else None


def told(subject: str) -> str:
    """Notebook and section in words; empty where the guide does not treat it.

    Examples
    --------
    >>> told("stratum")
    '05-questions-before-the-runs, section "Which error judges what?"'
    >>> told("Cochran and Cox's critical value")
    ''
    """
    found = of(subject)
    return "" if found is None else in_words(found)


def in_words(found: tuple[str, str]) -> str:
    """Notebook and heading as they are told."""
    return f'{found[0]}, section "{found[1].strip(chr(34))}"'
