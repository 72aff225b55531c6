"""`annot view`: what opens is handed to the window, what does not is told before one comes up."""

import sys
import types

import pytest
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import AnnotError
from tests.unit.tasks.test_image_archives import pack
from tests.unit.tasks.test_image_folders import write_image


@pytest.fixture
def opened(monkeypatch):
    """Stand in for the window and tell what it was asked to open."""
    asked = []
    stand_in = types.ModuleType("napari_annot")
    stand_in.open_viewer = asked.append
    monkeypatch.setitem(sys.modules, "napari_annot", stand_in)
    monkeypatch.setattr("annot.cli.view.importlib.util.find_spec", lambda _name: object())
    monkeypatch.setenv("DISPLAY", ":99")
    return asked


def view(*paths):
    return CliRunner().invoke(app, ["view", *map(str, paths)])


def test_a_folder_of_images_and_an_archive_go_to_the_window_as_they_are(opened, tmp_path):
    (tmp_path / "run").mkdir()
    for n in range(3):
        write_image(tmp_path / "run" / f"{n}.dcm", n)
    archive = pack(tmp_path / "study.zip", range(3))
    assert view(tmp_path / "run", archive, archive / "8.dcm").exit_code == 0
    assert opened == [[tmp_path / "run", archive, archive / "8.dcm"]]


def test_a_window_without_loops_opens_too(opened):
    assert view().exit_code == 0
    assert opened == [[]]


def test_a_file_at_fault_is_no_reason_to_refuse_its_neighbours(opened, tmp_path):
    write_image(tmp_path / "a.dcm", 0, PixelData=bytes(10))
    write_image(tmp_path / "b.dcm", 1)
    assert view(tmp_path).exit_code == 0
    assert opened == [[tmp_path]]


def test_what_does_not_open_is_told_before_a_window_comes_up(opened, tmp_path):
    (tmp_path / "notes.txt").write_text("no loop")
    (tmp_path / "empty").mkdir()
    write_image(tmp_path / "cut.dcm", 0, PixelData=bytes(10))
    for path, words in (
        (tmp_path / "notes.txt", "notes.txt is not a DICOM file"),
        (tmp_path / "empty", "No DICOM file lies in"),
        (tmp_path / "cut.dcm", "cut.dcm"),
        (tmp_path / "missing.dcm", "does not exist"),
        (pack(tmp_path / "study.zip", []), "No DICOM file lies in"),
    ):
        ran = view(path)
        assert ran.exit_code == 1, path
        assert isinstance(ran.exception, AnnotError)  # `main` says it in one line
        assert words in ran.exception.message
    assert opened == []


def test_a_readers_package_opens_alone_and_whole_or_not_at_all(opened, tmp_path):
    package = tmp_path / "for-A"
    package.mkdir()
    write_image(package / "a.dcm", 0)
    (package / "package.json").write_text("{}")
    ran = view(package)
    assert ran.exit_code == 1
    assert "package.json" in ran.exception.message
    assert "open it alone" in view(package, package / "a.dcm").exception.message
    assert opened == []
