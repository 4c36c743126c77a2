"""Every input that a reader once stumbled over, or that stands for a kind of them, read again for ever.

tests/corpus holds one file an input, named <reader>--<what is odd about it>.<ending>; told.toml says what is told of
each, word by word, or that it is read as the clean file is, or as a second reader sees it. An input that makes a test
of spoiled files fail is put there with the words that it should get.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from tests.robust import test_malformed, test_malformed_returns
from tests.robust.test_malformed import SECONDS, at_most
from toolkit.errors import WearbookError

CORPUS = Path(__file__).parents[1] / "corpus"
FILES = sorted(path.name for path in CORPUS.iterdir() if path.name != "told.toml")
TOLD = tomllib.loads((CORPUS / "told.toml").read_text(encoding="utf-8"))
AS_CLEAN = "as the clean file"
# With other cells than the clean file, and taken for what an independent reader sees in it.
AS_SEEN = "as a second reader sees it"
# The first part of a file's name to the reader of its kind.
TABLES = {"brief": "campaign.toml", "book": "workbook"}
TABLES |= {name: f"{name}.csv" for name in ("runs", "stations", "oil", "rig-history")}
RETURNS = {"sheet": "run sheet", "readings": "readings", "lab": "laboratory", "bench": "bench"}
RETURNS |= {"oldtext": "old table as text", "oldbook": "old table as workbook"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with one whole file of each kind."""
    return test_malformed.whole_folder(tmp_path_factory.mktemp("corpus"))


def result(folder: Path, kind: str, content: bytes | None) -> object:
    """What a reader makes of bytes; of the clean file when there are none."""
    if kind in RETURNS:
        returned = test_malformed_returns.KINDS[RETURNS[kind]]
        return returned.read(returned.name, returned.content() if content is None else content)
    reader = test_malformed.READERS[TABLES[kind]]
    path = folder / reader.path
    good = path.read_bytes()
    try:
        path.write_bytes(good if content is None else content)
        return reader.read(folder)
    finally:
        path.write_bytes(good)


def test_there_are_enough_and_each_is_told_of():
    assert len(FILES) >= 40
    assert sorted(TOLD) == FILES
    assert sum((CORPUS / name).stat().st_size for name in FILES) < 300_000


@pytest.mark.parametrize("name", FILES)
def test_an_input_of_the_corpus_is_told_as_it_should_be(folder, name):
    kind = name.partition("--")[0]
    content = (CORPUS / name).read_bytes()
    with at_most(SECONDS):
        if TOLD[name] == AS_CLEAN:
            assert result(folder, kind, content) == result(folder, kind, None)
        elif TOLD[name] == AS_SEEN:
            assert result(folder, kind, content) == test_malformed.READERS[TABLES[kind]].second(content)
        else:
            with pytest.raises(WearbookError) as told:
                result(folder, kind, content)
            assert str(told.value) == TOLD[name]
