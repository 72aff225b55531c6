"""A file is written whole or not at all."""

import os

import pytest

from annot.errors import InputError
from annot.exports import write_whole


def test_text_is_written_as_utf_8_without_changed_line_ends(tmp_path):
    path = tmp_path / "t.csv"
    write_whole(path, "±1\r\n")
    assert path.read_bytes() == "±1\r\n".encode()


def test_bytes_are_written_as_they_are(tmp_path):
    path = tmp_path / "p.png"
    write_whole(path, b"\x89PNG")
    assert path.read_bytes() == b"\x89PNG"


def test_an_older_file_is_replaced_and_nothing_is_left_beside_it(tmp_path):
    path = tmp_path / "t.csv"
    write_whole(path, "old")
    write_whole(path, "new")
    assert path.read_text() == "new"
    assert [one.name for one in tmp_path.iterdir()] == ["t.csv"]


def test_when_writing_fails_the_older_file_stays_and_nothing_else_does(tmp_path, monkeypatch):
    path = tmp_path / "t.csv"
    write_whole(path, "old")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match=r"t.csv cannot be written: No space left on device"):
        write_whole(path, "new")
    assert path.read_text() == "old"
    assert [one.name for one in tmp_path.iterdir()] == ["t.csv"]


def test_a_folder_that_is_not_there_is_named(tmp_path):
    with pytest.raises(InputError, match=r"none.*t.csv cannot be written: No such file"):
        write_whole(tmp_path / "none" / "t.csv", "x")


def test_a_folder_is_no_file(tmp_path):
    (tmp_path / "t.csv").mkdir()
    with pytest.raises(InputError, match=r"t.csv cannot be written"):
        write_whole(tmp_path / "t.csv", "x")
    assert [one.name for one in tmp_path.iterdir()] == ["t.csv"]
