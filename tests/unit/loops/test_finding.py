"""Walking folders for loops."""

import pytest

from annot.errors import LoopError
from annot.loops import find_loops


@pytest.fixture
def tree(tmp_path):
    dicom = b"\0" * 128 + b"DICM" + b"rest"
    for name in ("b/2.dcm", "b/10", "a/z/deep", "top.dcm", "a/DICOMDIR"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(dicom)
    (tmp_path / "a/notes.txt").write_text("no loop")
    (tmp_path / "b/empty").write_bytes(b"")
    return tmp_path


def names(found, tree):
    return [path.relative_to(tree).as_posix() for path in found]


def test_folders_are_walked_in_order_and_other_files_ignored(tree):
    expected = ["top.dcm", "a/z/deep", "b/10", "b/2.dcm"]
    assert names(find_loops([tree]), tree) == expected
    assert names(find_loops([str(tree)]), tree) == expected


def test_a_named_file_is_handed_on_whatever_it_holds(tree):
    assert names(find_loops([tree / "a/notes.txt"]), tree) == ["a/notes.txt"]


def test_each_file_comes_once(tree):
    found = names(find_loops([tree / "b/2.dcm", tree / "b", tree / "b/../b/10"]), tree)
    assert found == ["b/2.dcm", "b/10"]


def test_a_missing_path_is_an_error(tree):
    with pytest.raises(LoopError, match="does not exist"):
        list(find_loops([tree / "c"]))


def test_a_folder_that_cannot_be_listed_is_an_error(tree, monkeypatch):
    def refuse(_folder):
        raise PermissionError(13, "Permission denied", "b")

    monkeypatch.setattr("os.scandir", refuse)
    with pytest.raises(LoopError, match="b cannot be listed: Permission denied"):
        list(find_loops([tree]))


def test_a_file_that_cannot_be_read_is_handed_on_so_that_opening_says_why(tree, monkeypatch):
    def refuse(_path):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("annot.loops.finding.has_mark", refuse)
    assert "a/notes.txt" in names(find_loops([tree]), tree)
