"""Names and labels that are code to somebody: nothing is ever executed, and most are refused."""

import json
import warnings

import pytest

from toolkit import stamp
from toolkit.brief import checks, found, reading
from toolkit.brief.model import Brief, Comparison, Factor, Held, Level, Response
from toolkit.errors import BriefError

# CANARY stands for the path of a file that would be made.
PAYLOADS = (
    "__import__('os').system('touch CANARY')",
    "open('CANARY', 'w')",
    "x') + __import__('os').system('touch CANARY') + Q('x",
    'x") + __import__("os").system("touch CANARY") + Q("x',
    "I(__import__('pathlib').Path('CANARY').touch())",
    "C(pin, Treatment(open('CANARY', 'w')))",
    "bs(x, df=open('CANARY','w'))",
    "x'); __import__('os').system('touch CANARY'); ('",
    "{0.__class__.__init__.__globals__}",
    "{{ ''.__class__.__mro__[1].__subclasses__() }}",
    "{% import os %}{{ os.system('touch CANARY') }}",
    "${__import__('os').system('touch CANARY')}",
    "$(touch CANARY)",
    "`touch CANARY`",
    "; touch CANARY",
    "| touch CANARY",
    "&& touch CANARY",
    "=cmd|' /C touch CANARY'!A0",
    "@SUM(1+1)*cmd|' /C touch CANARY'!A0",
    "+cmd|' /C touch CANARY'!A0",
    "!touch CANARY",
    "%run CANARY",
    "<script>fetch('CANARY')</script>",
    "<img src=x onerror=\"fetch('CANARY')\">",
    "../../CANARY",
    "%s%n%x",
    "a\nimport os; os.system('touch CANARY')",
    "a\x00b",
    "\u202egnp.yranac",
    "lambda: open('CANARY', 'w')",
)


@pytest.fixture(name="canary")
def canary_path(tmp_path, monkeypatch):
    """A file that must not exist at the end, in the working directory too."""
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "canary"
    yield path
    assert list(tmp_path.iterdir()) == []


def brief_with(text):
    """A brief that has one text wherever text can stand."""
    return Brief(
        id=text,
        question=text,
        seed=1,
        factors=(
            Factor(text, "part", (Level(text, text), Level("P1", text))),
            Factor("oil", text, (Level("O0"), Level("O1"))),
        ),
        responses=(Response(text, text, text, text, text, worthwhile_change_pct=20),),
        comparisons=(Comparison(text, {text: text}, {text: "P1"}, (), text, family=text),),
        new_each_run=(text,),
        block_by=text,
        held=(Held(text, 1.0, (0.0, 2.0)),),
    )


def toml_with(text):
    """The same as a file."""
    put = json.dumps(text)
    return f"""
[campaign]
id = {put}
question = {put}
seed = 1
new_each_run = [{put}]
[[factor]]
name = {put}
undo = "part"
levels = {{ {put} = {put}, P1 = {put} }}
[[factor]]
name = "oil"
undo = {put}
levels = {{ O0 = "", O1 = "" }}
[[response]]
name = {put}
role = {put}
[[comparison]]
name = {put}
of = {{ {put} = {put} }}
against = {{ {put} = "P1" }}
[families]
{put} = {{ promise = {put} }}
[held]
{put} = {{ target = 1, window = [0, 2] }}
[cost]
currency = {put}
items = [{{ per = {put}, what = {put}, where = {{ {put} = {put} }} }}]
[scatter]
history = {put}
"""


def test_there_are_enough_payloads():
    assert len(set(PAYLOADS)) >= 25


@pytest.mark.parametrize("payload", PAYLOADS, ids=range(len(PAYLOADS)))
def test_nothing_is_executed_and_names_are_refused(payload, canary):
    text = payload.replace("CANARY", str(canary))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        brief = brief_with(text)
        told = {fault.where.split(", ")[-1] for fault in checks.check(brief)}
        assert {"name", "undo", "role", "better", "scale", "per_run", "direction"} <= told
        assert "[blocks] by" in {fault.where for fault in checks.check(brief)}
        assert stamp.checksum(reading.canonical(brief_with("x")))
        with pytest.raises(BriefError) as caught:
            reading.parse(toml_with(text))
    assert not canary.exists()
    # The message stays one line a fault, whatever stands in the text, and holds no hidden characters.
    assert all(line.isprintable() for line in str(caught.value).split("\n"))
    assert str(caught.value).startswith("campaign.toml is not in order (")


@pytest.mark.parametrize("payload", PAYLOADS, ids=range(len(PAYLOADS)))
def test_as_a_factor_level_response_or_held_name_it_is_refused(payload, canary):
    text = payload.replace("CANARY", "canary")
    good = Brief(
        "a",
        "b?",
        1,
        (Factor("pin", "part", (Level("P0"), Level("P1"))),),
        (Response("wear_um", worthwhile_change_pct=20),),
    )
    assert checks.check(good) == []
    levels = (Level("P0"), Level(text))
    for brief in (
        Brief("a", "b?", 1, (Factor(text, "part", good.factors[0].levels),), good.responses),
        Brief("a", "b?", 1, good.factors, (Response(text, worthwhile_change_pct=20),)),
        Brief("a", "b?", 1, good.factors, good.responses, held=(Held(text, 1.0, (0.0, 2.0)),)),
        Brief(text, "b?", 1, good.factors, good.responses),
    ):
        assert len(checks.check(brief)) >= 1
    told = checks.check(Brief("a", "b?", 1, (Factor("pin", "part", levels),), good.responses))
    assert [fault.where for fault in told] == [f"factor 'pin', level {found.quoted(text)}"]
    assert not canary.exists()


@pytest.mark.parametrize("payload", PAYLOADS, ids=range(len(PAYLOADS)))
def test_as_a_label_it_is_kept_letter_by_letter_or_refused(payload, canary):
    levels = (Level("P0", payload), Level("P1"))
    response = Response("wear_um", worthwhile_change_pct=20)
    brief = Brief("a", "b?", 1, (Factor("pin", "part", levels),), (response,))
    if payload.isprintable():
        assert checks.check(brief) == []
        assert brief.factors[0].label_of("P0") == payload
        assert reading.canonical(brief)["factor"][0]["levels"][0]["label"] == payload
    else:
        (fault,) = checks.check(brief)
        assert fault.where == "factor 'pin', level 'P0', label"
        assert fault.found.endswith("holds characters that do not print")
    assert not canary.exists()
