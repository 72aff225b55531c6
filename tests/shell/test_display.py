"""Looking at a loop otherwise: another picture, the same stored values, the same numbers."""

import numpy as np
import pytest
from napari.components import ViewerModel
from pydicom import dcmread

from annot.tasks.calibrate import make_scale
from annot.tasks.open import DisplayChoice, Loop, open_loop
from napari_annot.display_state import LOOKING_ONLY, display_words
from napari_annot.filing import export
from napari_annot.picture_layer import grey_arguments, loop_of_layer, picture_of
from napari_annot.stage import Stage
from napari_annot.tools import CALIPER_TOOLS

OSTIUM = CALIPER_TOOLS[0]
WAYS = [
    DisplayChoice(greys=1, shuttered=False, inverted=True),
    DisplayChoice(greys=2),
    DisplayChoice(greys=None, subtracted=True, inverted=True),
]


@pytest.fixture
def shown(desk):
    stage = Stage(ViewerModel(), desk)
    yield stage
    stage.close()


@pytest.fixture
def on_rich(shown, desk, rich):
    desk.show(desk.add(open_loop(rich)))
    return desk


def test_each_stored_window_and_table_is_offered_by_its_name(on_rich, xray, echo):
    words = on_rich.state().display
    assert [title for _, title in words.greys] == [
        "CONTRAST (centre 600, width 900)",
        "OVERVIEW (centre 1000, width 1800)",
        "CURVE (table)",
        "all stored values",
    ]
    assert (words.shutter, words.mask, words.swap) == (True, True, True)
    assert words.notes == ("The file recommends its subtracted view.",)
    plain = display_words(open_loop(xray.path), DisplayChoice())
    assert (plain.shutter, plain.mask, plain.notes) == (False, False, ())
    colour = display_words(open_loop(echo.path), DisplayChoice())
    assert colour.greys == (("", "colours as stored"),)
    assert (colour.mask, colour.swap) == (False, False)


def test_a_window_without_a_name_has_its_number(xray, tmp_path):
    dataset = dcmread(xray.path)
    dataset.WindowCenter, dataset.WindowWidth = [600, 1000], [900, 1800]
    dataset.VOILUTFunction = "SIGMOID"
    dataset.save_as(tmp_path / "a.dcm")
    words = display_words(open_loop(tmp_path / "a.dcm"), DisplayChoice())
    assert words.greys[1][1] == "window 2 (centre 1000, width 1800, curved)"


def test_every_choice_is_a_tag_of_its_own_and_none_is_the_files_first(on_rich):
    assert on_rich.state().display.chosen_greys == "0"
    on_rich.show_as(DisplayChoice(greys=2))
    assert on_rich.state().display.chosen_greys == "2"
    on_rich.show_as(DisplayChoice(greys=None))
    assert on_rich.state().display.chosen_greys == ""


def test_no_way_of_looking_changes_a_number(on_rich, shown, draw, scale_xray, xray, tmp_path):
    """Fit, scale and table are the same to the last byte, and so is every stored value."""
    before = dcmread(on_rich.loop.header.path).pixel_array
    scale_xray(on_rich)
    draw(on_rich, OSTIUM, xray.truth.caliper("ostium_width", 0).points_px)
    on_rich.state_reader("A", "S1")
    loop, request = on_rich.loop, on_rich.state().request
    scale = on_rich.standing(on_rich.shown).scale
    export(on_rich, tmp_path / "table.csv")
    table = (tmp_path / "table.csv").read_bytes()
    assert b",mm," in table
    for choice in WAYS:
        on_rich.show_as(choice)
        assert shown.pictures.layer.data.choice == choice
        made = make_scale(on_rich.loop, request).scale
        assert (made.row.value, made.row.u) == (scale.row.value, scale.row.u)
        export(on_rich, tmp_path / "table.csv")
        assert (tmp_path / "table.csv").read_bytes() == table
        assert on_rich.loop is loop
    np.testing.assert_array_equal([loop.frame(n) for n in range(6)], before)


def test_looking_otherwise_is_no_step_of_the_read(on_rich):
    read = on_rich.read
    on_rich.show_as(DisplayChoice(inverted=True))
    assert on_rich.read is read
    assert not on_rich.state().unsaved
    assert not on_rich.state().can_undo


def test_each_loop_keeps_its_own_way(on_rich, xray):
    swapped = DisplayChoice(inverted=True)
    on_rich.show_as(swapped)
    first = on_rich.shown
    on_rich.show(on_rich.add(open_loop(xray.path)))
    assert on_rich.display == DisplayChoice()
    on_rich.show(first)
    assert on_rich.display == swapped


def test_the_picture_changes_in_its_place(on_rich, shown):
    viewer, layer = shown._viewer, shown.pictures.layer
    viewer.dims.set_current_step(0, 3)
    viewer.scene.camera.zoom = 3.5
    assert (layer.data.dtype, layer.colormap.name) == (np.uint8, "gray")  # under its shutter
    on_rich.show_as(DisplayChoice(greys=1, shuttered=False, inverted=True))
    assert shown.pictures.layer is layer
    assert (layer.data.dtype, layer.colormap.name) == (np.uint16, "gray_r")
    # PS3.3 C.11.2.1.2: black at c - 0.5 - (w - 1) / 2, white at c - 0.5 + (w - 1) / 2
    assert tuple(layer.contrast_limits) == (100, 1899)
    np.testing.assert_array_equal(layer.data[3], on_rich.loop.frame(3))
    on_rich.show_as(DisplayChoice(subtracted=True))
    assert (layer.data.dtype, layer.colormap.name) == (np.uint8, "gray")
    assert tuple(layer.contrast_limits) == (0, 255)
    assert (viewer.dims.current_step[0], viewer.scene.camera.zoom) == (3, 3.5)
    assert loop_of_layer(layer) is on_rich.loop


def test_another_way_of_looking_decodes_what_it_shows_and_no_more(on_rich, shown, monkeypatch):
    decoded = []
    decode = Loop.frame
    monkeypatch.setattr(Loop, "frame", lambda self, n: decoded.append(n) or decode(self, n))
    on_rich.show_as(DisplayChoice(greys=1))
    assert set(decoded) == {0}
    decoded.clear()
    shown._viewer.dims.set_current_step(0, 4)
    assert set(decoded) == {4}


def test_the_caption_says_what_is_not_as_stored(on_rich):
    assert on_rich.state().caption.endswith("\nshown under its shutter; measured on stored pixels")
    on_rich.show_as(DisplayChoice(subtracted=True, inverted=True))
    assert "subtracted, dark and light swapped, under its shutter" in on_rich.state().caption
    on_rich.show_as(DisplayChoice(shuttered=False))
    assert "\n" not in on_rich.state().caption
    assert "stored pixels" in LOOKING_ONLY


def test_a_frame_without_a_mask_says_so_and_nothing_is_drawn_on_it(on_rich, shown):
    """The mask holds for frames 2 to 6 of DICOM's count, so not for frame 0."""
    on_rich.show_as(DisplayChoice(subtracted=True))
    assert "frame 0 has no mask to be subtracted" in on_rich.state().message
    assert on_rich.state().message_is_fault
    assert "no mask" in shown.pictures.fault()
    shown._viewer.dims.set_current_step(0, 2)
    assert (shown.pictures.fault(), on_rich.state().message) == ("", "")
    shown._viewer.dims.set_current_step(0, 0)
    on_rich.show_as(DisplayChoice())
    assert (shown.pictures.fault(), on_rich.state().message) == ("", "")


def test_greys_are_the_files_window_or_all_it_can_store(xray, tmp_path):
    # the expected window is read with pydicom, an independent reader of the same file
    dataset = dcmread(xray.path)
    dataset.WindowCenter, dataset.WindowWidth = 600, 900
    dataset.save_as(tmp_path / "window.dcm")
    found = grey_arguments(open_loop(tmp_path / "window.dcm"), DisplayChoice())
    assert found == {"contrast_limits": (150, 1049), "colormap": "gray"}
    del dataset.WindowCenter, dataset.WindowWidth
    dataset.save_as(tmp_path / "bare.dcm")
    found = grey_arguments(open_loop(tmp_path / "bare.dcm"), DisplayChoice())
    assert found["contrast_limits"] == (0, 2**dataset.BitsStored - 1)


def test_where_low_values_are_bright_they_are_shown_bright(xray, tmp_path):
    """PS3.3 C.7.6.3.1.2: the minimum sample value of MONOCHROME1 is displayed as white."""
    dataset = dcmread(xray.path)
    dataset.PhotometricInterpretation = "MONOCHROME1"
    dataset.save_as(tmp_path / "one.dcm")
    _, arguments, _ = picture_of(open_loop(tmp_path / "one.dcm"))
    assert arguments["colormap"] == "gray_r"


def test_colour_is_shown_from_the_loop_itself(echo):
    array, arguments, _ = picture_of(open_loop(echo.path))
    assert "contrast_limits" not in arguments
    np.testing.assert_array_equal(array[1], open_loop(echo.path).frame(1))


def test_coming_back_to_a_loop_decodes_its_frame_once(on_rich, shown, xray, monkeypatch):
    on_rich.show_as(DisplayChoice(greys=1, inverted=True))
    first = on_rich.shown
    on_rich.show(on_rich.add(open_loop(xray.path)))
    decoded = []
    decode = Loop.frame
    monkeypatch.setattr(Loop, "frame", lambda self, n: decoded.append(n) or decode(self, n))
    on_rich.show(first)
    assert decoded.count(0) == 1


def test_another_read_is_shown_as_its_files_ask(on_rich, tmp_path):
    on_rich.show_as(DisplayChoice(inverted=True))
    on_rich.adopt(on_rich.read, [on_rich.loop], tmp_path / "read.json")
    assert on_rich.display == DisplayChoice()
