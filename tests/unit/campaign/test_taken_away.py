"""A derived file that is out of date is taken away, or it is told that it could not be."""

import pytest

from toolkit.campaign import storage
from toolkit.errors import StorageError


def test_the_file_is_gone_and_a_missing_one_is_no_fault(tmp_path):
    path = tmp_path / "done.ipynb"
    path.write_text("old", encoding="utf-8")
    storage.take_away(path)
    storage.take_away(path)
    assert list(tmp_path.iterdir()) == []


def test_what_cannot_be_removed_is_named(tmp_path):
    path = tmp_path / "done.ipynb"
    path.mkdir()
    with pytest.raises(StorageError) as error:
        storage.take_away(path)
    assert str(error.value).startswith(f"{path}: is out of date and could not be removed (")
    assert str(error.value).endswith("). Remove it by hand.")
    assert path.is_dir()
