import shutil
from pathlib import Path

import numpy as np
import pytest

from annot.errors import LoopError
from annot.tasks.open import Loop, open_loop
from napari_annot.filing import open_paths
from napari_annot.picture_layer import loop_of_layer, picture_of
from napari_annot.reader import get_reader
from tests.unit.tasks.test_image_archives import pack
from tests.unit.tasks.test_image_folders import write_image


def test_the_reader_takes_dicom_files_with_or_without_an_extension(xray, tmp_path):
    bare = shutil.copy(xray.path, tmp_path / "IM0001")
    for path in (xray.path, bare):
        ((data, arguments, kind),) = get_reader(str(path))(str(path))
        assert kind == "image"
        assert data.shape == (6, 512, 512)
        assert arguments["scale"] == (1, 1, 1)
        assert arguments["projection_mode"] == "none"


def test_the_reader_takes_folders_with_loops_and_no_others(xray, tmp_path):
    assert get_reader(str(tmp_path)) is None
    (tmp_path / "deeper").mkdir()
    shutil.copy(xray.path, tmp_path / "deeper" / "IM0001")
    layers = get_reader(str(tmp_path))(str(tmp_path))
    assert len(layers) == 1


@pytest.mark.parametrize("content", [b"", b"DICM", b"\0" * 128 + b"NOPE" + b"\0" * 50])
def test_the_reader_leaves_other_files_alone(tmp_path, content):
    path = tmp_path / "a.dcm"
    path.write_bytes(content)
    assert get_reader(str(path)) is None
    assert get_reader([str(path), str(path)]) is None
    assert get_reader(str(tmp_path / "missing.dcm")) is None


def test_a_damaged_loop_is_refused_in_a_sentence(tmp_path, xray):
    path = tmp_path / "cut.dcm"
    path.write_bytes(xray.path.read_bytes()[:600])
    with pytest.raises(LoopError, match=r"cut\.dcm"):
        get_reader(str(path))(str(path))


def test_colour_is_told_and_never_guessed(echo, xray):
    _, arguments, _ = picture_of(open_loop(echo.path))
    assert arguments["rgb"] is True
    assert "contrast_limits" not in arguments
    _, arguments, _ = picture_of(open_loop(xray.path))
    assert arguments["rgb"] is False


def test_a_frame_is_decoded_when_it_is_shown_and_no_sooner(xray, monkeypatch):
    from napari.components import ViewerModel

    decoded = []
    decode = Loop.frame
    monkeypatch.setattr(Loop, "frame", lambda self, n: decoded.append(n) or decode(self, n))
    data, arguments, _ = picture_of(open_loop(xray.path))
    assert decoded == []
    viewer = ViewerModel()
    layer = viewer.add_image(data, **arguments)
    assert loop_of_layer(layer) is not None
    assert len(set(decoded)) <= 2, "napari asks for the first and the middle frame on adding"
    decoded.clear()
    viewer.dims.set_current_step(0, 5)
    viewer.dims.set_current_step(0, 4)
    viewer.dims.set_current_step(0, 5)
    assert decoded == [5, 4], "each frame once, from the cache the second time"
    assert np.array_equal(layer.data[5], decode(arguments["metadata"]["annot_loop"], 5))


@pytest.fixture
def images(tmp_path):
    """Write a folder of single images of one series and an archive of another."""
    (tmp_path / "run").mkdir()
    for n in range(3):
        write_image(tmp_path / "run" / f"{n}.dcm", n)
    return tmp_path / "run", pack(tmp_path / "study.zip", range(4))


def test_a_folder_or_an_archive_of_single_images_is_one_picture(images):
    for place, frames in zip(images, (3, 4), strict=True):
        ((data, arguments, _),) = get_reader(str(place))(str(place))
        assert data.shape == (frames, 60, 80)
        assert arguments["name"] == place.name
        np.testing.assert_array_equal(data[2], np.full((60, 80), 200))
    layers = get_reader([str(one) for one in images])([str(one) for one in images])
    assert [data.shape[0] for data, _, _ in layers] == [3, 4]


def test_the_dock_opens_them_as_the_reader_does(desk, images):
    assert open_paths(desk, list(images)) == []
    assert [loop.frames for loop in desk.loops.values()] == [3, 4]
    assert [Path(file).name for file in desk.loops] == ["run", "study.zip"]
    assert desk.state().loops[0].name == "run"


def test_an_archive_without_loops_is_left_alone(tmp_path):
    assert get_reader(str(pack(tmp_path / "study.zip", []))) is None
