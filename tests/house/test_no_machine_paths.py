"""Nothing kept names a path of one machine, a host of a package registry, or a paper kept elsewhere."""

import re

import pytest

from tests.house.tree import ROOT, texts_of, tracked

# Put together from pieces, so that this file does not find itself.
_FOLDERS = "|".join(["wo" + "rk", "ro" + "ot", "fa" + "rm", "tm" + "p", "op" + "t"])
_HOMES = "|".join(["ho" + "me", "Us" + "ers"])
NEEDLES = {
    "a path of one machine": re.compile(rf"(?<![\w./+~<-])/(?:(?:{_FOLDERS})(?![\w+-])|(?:{_HOMES})/[\w<])"),
    "a path of one machine (Windows)": re.compile(r"\b[A-Za-z]:\\+(?:Us" + r"ers|Documents)\b"),
    "a host of a package registry": re.compile(
        "|".join(
            [
                r"py" + r"pi\.(?:org|io|python\.org)",
                r"python" + r"hosted",
                r"registry\.npm" + "js",
                r"deb\." + "debian",
                r"conda\." + "anaconda",
                r"proxy\.golang" + r"\.org",
            ]
        )
    ),
    "a paper that is not in the project": re.compile(
        r"\b(?:"
        + "|".join(["des" + "ign", "met" + "hods", "num" + "erics", "dom" + "ain", "qual" + "ity"])
        + r"|jup"
        + r"yter|sty"
        + r"le)\.md\b|\.\./sha"
        + r"red\b"
    ),
    "how the work was handed out": re.compile(r"\b[Ii]ss" + r"ue #?\d|\bthis iss" + r"ue\b|\bStep 1\.\s"),
}


def found_in(text: str) -> list[str]:
    """What of the above stands in a text, with the words themselves."""
    return [f"{what}: {hit.group()}" for what, needle in NEEDLES.items() for hit in needle.finditer(text)]


def test_no_file_names_a_place_outside_the_project():
    faults = []
    for name in tracked():
        for text in texts_of(name) or []:
            faults += [f"{name}: {fault}" for fault in found_in(text)]
    assert faults == []


def test_no_link_leads_out_of_the_project():
    links = [name for name in tracked() if (ROOT / name).is_symlink()]
    assert [name for name in links if not (ROOT / name).resolve().is_relative_to(ROOT)] == []


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("cd /wo" + "rk/main", "a path of one machine"),
        ('open("/tm' + 'p/x.csv")', "a path of one machine"),
        ("see /ho" + "me/anna/x", "a path of one machine"),
        ("/ro" + "ot/.cache", "a path of one machine"),
        ("C:\\Us" + "ers\\anna", "a path of one machine (Windows)"),
        ("https://py" + "pi.org/simple", "a host of a package registry"),
        ("files.python" + "hosted.org", "a host of a package registry"),
        ("as in met" + "hods.md A", "a paper that is not in the project"),
        ("closes iss" + "ue 2", "how the work was handed out"),
    ],
)
def test_a_place_outside_is_found(text, what):
    assert [fault.split(":")[0] for fault in found_in(text)] == [what]


@pytest.mark.parametrize(
    "text", ["data/work/x", "a/tmp", "/workbook", "km/root", "https://example.org/opt", "~/opt", "/home/"]
)
def test_ordinary_text_is_let_through(text):
    assert found_in(text) == []
