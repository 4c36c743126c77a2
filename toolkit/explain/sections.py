"""Where the guide treats a subject: the one place that maps a key, a verb, a word or a file to its heading (rank 3).

Subjects are named as a person writes them: ``[plan] builds``, ``wearbook plan``, ``stratum``, ``stations.csv``. A key
without a line of its own is treated where its section is.
"""

from __future__ import annotations

import re

STORY = "01-the-bundled-campaign"
SHOES = "02-published-shoe-soles"
BLOCKED = "03-published-blocked-factorial"
ONE_RUN = "04-one-run-from-its-files-to-its-row"
BEFORE = "05-questions-before-the-runs"
AFTER = "06-questions-after-the-runs"

_MONEY = (BEFORE, '1. "I have money for twelve runs. Will they show a fifth less wear?"')
_NOISE = (BEFORE, '2. "Here are my four pilot runs. How noisy is my test really?"')
_STATIONS = (BEFORE, '4. "I measured ten segments on every chain. Is that ten times the data?"')
_UNDONE = (BEFORE, '5. "Changing the sprocket is a week-end, oil is an afternoon. In what order?"')
_ERROR = (BEFORE, '6. "Which error judges what?"')
_REPLICATES = (BEFORE, '7. "How many replicates do I need?"')
_WORTHWHILE = (BEFORE, '8. "Which difference counts as worthwhile?"')
_LOOKING = (BEFORE, '10. "May I look after every run, and stop when it is clear?"')
_STOPPED = (AFTER, '1. "A run stopped early. Keep it?"')
_HOT = (AFTER, '2. "The oil was hot one night. Is the run dead?"')
_DRIFT = (AFTER, '3. "Is the engine drifting?"')
_ENOUGH = (AFTER, '4. "The coating looks a third better. Is that real, and is it enough?"')
_TOGETHER = (AFTER, '5. "Does the coating only work with the new oil?"')
_ODD = (AFTER, '8. "One run looks odd. May I throw it away?"')
_ONCE = (AFTER, '12. "One run of each combination: why is there no interval?"')
_FURTHER = (AFTER, '13. "What should I run next, and when do I stop?"')
_QUESTION, _PILOT, _SIZE = (STORY, "1. The question"), (STORY, "2. The pilot"), (STORY, "3. How many runs?")
_PLAN, _RECORDS, _ANSWERS = (STORY, "4. The plan and its order"), (STORY, "5. The records"), (STORY, "6. The answers")
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
    "wearbook report": (STORY, "10. The decision"), "wearbook verify": _RECORDS,
    "campaign.toml": _QUESTION, "runs.csv": _RECORDS, "stations.csv": _FILES, "oil.csv": _METALS, "gauge.csv": _GAUGE,
    "masters.csv": _GAUGE, "log.csv": _RECORDS, "raw/dyno": _RECORDINGS, "raw/traces": _TRACES, "run sheet": _FILES,
    "alias": (BLOCKED, "Before fitting"), "analysis of variance": (BLOCKED, "The analysis of variance"),
    "assurance": _MONEY, "power": _MONEY, "detectable change": _MONEY, "band": _ENOUGH, "interval": _ENOUGH,
    "verdict": _ENOUGH, "block": (SHOES, "Without the blocks"), "build": _UNDONE, "fill": _UNDONE,
    "degrees of freedom": _ERROR, "stratum": _ERROR, "error stratum": _ERROR, "experimental unit": _ERROR,
    "unit": _ERROR, "exaggeration": (BEFORE, '9. "How wrong would my old one-each comparison have been?"'),
    "gauge": _GAUGE, "interaction": _TOGETHER, "interim": _LOOKING, "look": _LOOKING,
    "not estimable": (AFTER, '10. "I never ran the coated pin with the new oil. Can I still say something?"'),
    "p value": (AFTER, '9. "*p* is above five per cent, so there is no difference?"'), "pilot": _NOISE,
    "scatter": _NOISE, "randomise": _UNDONE, "reference run": _DRIFT, "replicate": _REPLICATES, "run value": _ROW,
    "seal": _PLAN,
    "reading": (BEFORE, '3. "Can\'t I just measure more links instead of making more runs?"'), "station": _STATIONS,
    "sub-sample": _STATIONS, "void run": _STOPPED, "residual": _ODD, "window": _HOT, "held variable": _HOT,
    "covariate": _HOT, "worthwhile change": _WORTHWHILE, "half-normal plot": _ONCE, "Lenth's method": _ONCE,
    "finding": _NOTICED,
}  # fmt: skip


def of(subject: str) -> tuple[str, str] | None:
    """Notebook and heading that treat a subject, its own or that of its section; None where there is none.

    Examples
    --------
    >>> of("[plan] split_over")
    ('01-the-bundled-campaign', '4. The plan and its order')
    """
    head = subject.partition(" ")[0]
    return GUIDE.get(subject) or (GUIDE.get(head) if head.startswith("[") else None)


def told(subject: str) -> str:
    """Notebook and section in words: ``05-questions-before-the-runs, section 6 "Which error judges what?"``.

    Examples
    --------
    >>> told("stratum")
    '05-questions-before-the-runs, section 6 "Which error judges what?"'
    >>> told("[booking]")
    ''
    """
    found = of(subject)
    if found is None:
        return ""
    number = re.match(r"(\d+)\. ", found[1])
    words = found[1][number.end() :] if number else found[1]
    return f'{found[0]}, section {f"{number[1]} " if number else ""}"{words.strip(chr(34))}"'
