"""A file is written whole or not at all."""

import os
from pathlib import Path

import pytest

from annot.errors import InputError
from annot.exports import CSV, JSON, PNG, write_whole


def test_text_is_written_as_utf_8_without_changed_line_ends(tmp_path):
    path = tmp_path / "t.csv"
    write_whole(path, "±1\r\n", replaces=CSV)
    assert path.read_bytes() == "±1\r\n".encode()


def test_bytes_are_written_as_they_are(tmp_path):
    path = tmp_path / "p.png"
    write_whole(path, b"\x89PNG", replaces=PNG)
    assert path.read_bytes() == b"\x89PNG"


def test_an_older_file_is_replaced_and_nothing_is_left_beside_it(tmp_path):
    path = tmp_path / "t.csv"
    write_whole(path, "study,old", replaces=CSV)
    write_whole(path, "study,new", replaces=CSV)
    assert path.read_text() == "study,new"
    assert [one.name for one in tmp_path.iterdir()] == ["t.csv"]


def test_a_name_too_long_for_the_file_system_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"cannot be written: File name too long"):
        write_whole(tmp_path / f"{'t' * 300}.csv", "study,", replaces=CSV)


def test_when_writing_fails_the_older_file_stays_and_nothing_else_does(tmp_path, monkeypatch):
    path = tmp_path / "t.csv"
    write_whole(path, "study,old", replaces=CSV)

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match=r"t.csv cannot be written: No space left on device"):
        write_whole(path, "study,new", replaces=CSV)
    assert path.read_text() == "study,old"
    assert [one.name for one in tmp_path.iterdir()] == ["t.csv"]


def test_a_folder_that_is_not_there_is_named(tmp_path):
    with pytest.raises(InputError, match=r"none.*t.csv cannot be written: there is no folder"):
        write_whole(tmp_path / "none" / "t.csv", "x", replaces=CSV)


def test_a_folder_is_no_file(tmp_path):
    (tmp_path / "t.csv").mkdir()
    with pytest.raises(InputError, match=r"t.csv is not a file"):
        write_whole(tmp_path / "t.csv", "x", replaces=CSV)
    assert [one.name for one in tmp_path.iterdir()] == ["t.csv"]


@pytest.mark.parametrize(
    ("content", "replaces"),
    [(b'{"annot_read": 1}', CSV), (b"\x00" * 128 + b"DICM", PNG), (b"study,loop", JSON)],
)
def test_a_file_of_another_kind_is_left_as_it_is(tmp_path, content, replaces):
    path = tmp_path / "victim"
    path.write_bytes(content)
    with pytest.raises(InputError, match=r"victim holds something else"):
        write_whole(path, "x", replaces=replaces)
    assert path.read_bytes() == content


def test_a_device_is_not_replaced():
    with pytest.raises(InputError, match=r"null is not a file"):
        write_whole(Path(os.devnull), "x", replaces=CSV)
    assert not Path(os.devnull).is_file()


def test_an_empty_file_may_be_filled(tmp_path):
    path = tmp_path / "t.csv"
    path.touch()
    write_whole(path, "study,1", replaces=CSV)
    assert path.read_text() == "study,1"
