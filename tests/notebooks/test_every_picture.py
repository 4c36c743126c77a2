"""The page with every picture has every one that is explained, with its text and its text alternative, as stored."""

import json

from tests.house.tree import ROOT
from toolkit.cli import explaining
from toolkit.plot.gallery import GALLERY

PAGE = ROOT / "notebooks" / "13-every-picture.ipynb"


def shown():
    """What the cell of the pictures showed: a text, then a picture, and so on."""
    cells = json.loads(PAGE.read_text(encoding="utf-8"))["cells"]
    (cell,) = [cell for cell in cells if cell["id"] == "pictures"]
    return cell["outputs"]


def test_every_picture_that_is_explained_is_on_the_page_with_its_text():
    explained = [item.name for item in explaining.known() if item.kind == "picture"]
    told = ["".join(part["data"]["text/html"]) for part in shown()[::2]]
    assert [name for name, text in zip(explained, told, strict=True) if f"explain {name}</code>" not in text] == []
    for item, text in zip(GALLERY, told, strict=True):
        for said in (item.shows, item.misread, f"toolkit.plot.{item.call}"):
            assert said.replace("'", "&#39;") in text


def test_every_text_is_followed_by_a_picture_with_a_text_alternative():
    drawn = shown()[1::2]
    assert len(drawn) == len(GALLERY)
    alts = [part["metadata"]["image/png"]["alt"] for part in drawn]
    assert [alt for alt in alts if len(alt) < 30] == []
    assert len(set(alts)) >= len(GALLERY) - 2
    assert all("image/png" in part["data"] for part in drawn)


def test_the_page_is_smaller_than_two_megabytes():
    assert PAGE.stat().st_size < 2_000_000
