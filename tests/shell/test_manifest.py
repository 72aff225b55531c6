"""The manifest: what npe2's own validation does not look at."""

from importlib.metadata import distribution
from importlib.resources import files
from pathlib import Path

import pytest
from napari._app_model.constants import MenuId
from npe2 import PluginManifest

import napari_annot

MANIFEST = Path(str(files(napari_annot).joinpath("napari.yaml")))


@pytest.fixture(scope="module")
def manifest():
    return PluginManifest.from_file(MANIFEST)


def test_all_commands_resolve(manifest):
    manifest.validate_imports()
    for command in manifest.contributions.commands:
        assert command.id.startswith(f"{manifest.name}.")


def test_every_command_in_use_is_declared_and_every_declared_one_used(manifest):
    given = manifest.contributions
    used = {
        one.command for part in (given.readers, given.widgets, given.sample_data) for one in part
    }
    used |= {item.command for items in given.menus.values() for item in items}
    assert used == {command.id for command in given.commands}


def test_distribution_entry_point_and_manifest_have_one_name(manifest):
    (point,) = [one for one in distribution("annot").entry_points if one.group == "napari.manifest"]
    assert point.name == manifest.name == distribution("annot").name
    assert point.value == "napari_annot:napari.yaml"


def test_the_reader_takes_any_name_and_folders(manifest):
    (reader,) = manifest.contributions.readers
    assert "*" in reader.filename_patterns
    assert "*.dcm" in reader.filename_patterns
    assert reader.accepts_directories


def test_there_is_one_dock_and_it_stands_in_the_measure_menu(manifest):
    (widget,) = manifest.contributions.widgets
    assert list(manifest.contributions.menus) == [MenuId.LAYERS_MEASURE.value]
    ((item,),) = manifest.contributions.menus.values()
    assert item.command == widget.command


def test_samples_are_synthetic_loops_of_both_kinds(manifest):
    modalities = set()
    for sample in manifest.contributions.sample_data:
        command = next(c for c in manifest.contributions.commands if c.id == sample.command)
        module, name = command.python_name.split(":")
        layers = getattr(__import__(module, fromlist=[name]), name)()
        modalities |= {
            arguments["metadata"]["annot_loop"].header.modality for _, arguments, _ in layers
        }
    assert modalities == {"XA", "US"}


def test_importing_the_package_loads_neither_napari_nor_qt():
    import subprocess
    import sys

    code = (
        "import sys, napari_annot; "
        "bad = [m for m in ('napari', 'qtpy', 'PySide6', 'vispy') if m in sys.modules]; "
        "sys.exit(str(bad) if bad else 0)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
