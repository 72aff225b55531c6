"""Showing frames: pydicom is the reference (PS3.3 C.11, C.7.6.10, C.7.6.11)."""

import numpy as np
import pytest
from pydicom import dcmread
from pydicom.dataset import Dataset
from pydicom.pixels import apply_modality_lut, apply_voi, apply_windowing
from pydicom.sequence import Sequence

from annot.errors import LoopError
from annot.loops import open_loop
from annot.loops.display import Display, LookupTable, Shutter, Window

RNG = np.random.default_rng(6)
DEEP = RNG.integers(0, 4096, (3, 8, 10), dtype=np.uint16)
SIGNED = (DEEP.astype(np.int16) - 2048).astype(np.int16)


def by_pydicom(path, values, top, *, index=0):
    dataset = dcmread(path)
    shown = apply_windowing(apply_modality_lut(values, dataset), dataset, index=index)
    return np.rint(shown * 255.0 / top)


@pytest.mark.parametrize("function", ["LINEAR", "LINEAR_EXACT", "SIGMOID"])
@pytest.mark.parametrize("pixels", [DEEP, SIGNED], ids=["unsigned", "signed"])
def test_every_named_window_is_pydicoms(write_loop, function, pixels):
    path = write_loop(
        pixels, bits_stored=12, VOILUTFunction=function, WindowCenter=[700, 1500.5],
        WindowWidth=[300, 2000], WindowCenterWidthExplanation=["bone", "soft"],
    )  # fmt: skip
    display = open_loop(path).display
    assert [window.name for window in display.windows] == ["bone", "soft"]
    low = 2048 if pixels is SIGNED else 0
    for index, window in enumerate(display.windows):
        shown = display.grey(pixels[0], choice=window)
        expected = apply_windowing(pixels[0], dcmread(path), index=index) + low
        # pydicom spreads over the stored range, here it is 0 to 255.
        assert np.abs(shown - expected * 255.0 / 4095).max() <= 0.5 + 1e-6
    np.testing.assert_array_equal(
        display.grey(pixels[0]), display.grey(pixels[0], choice=display.windows[0])
    )


def table(entries, first, bits, name="curve"):
    item = Dataset()
    item.LUTDescriptor = [len(entries), first, bits]
    item.LUTExplanation = name
    item.add_new("LUTData", "OW", np.asarray(entries, dtype="<u2").tobytes())
    return item


CURVE = (np.arange(1000) ** 1.2).astype(int)


def test_a_voi_table_is_pydicoms(write_loop):
    path = write_loop(
        DEEP,
        bits_stored=12,
        VOILUTSequence=Sequence([table(CURVE, 1000, 12)]),
        syntax="1.2.840.10008.1.2.1",
    )
    display = open_loop(path).display
    assert display.choices == display.tables
    assert display.tables[0].name == "curve"
    looked_up = apply_voi(DEEP[0], dcmread(path))
    np.testing.assert_array_equal(display.grey(DEEP[0]), np.rint(looked_up * 255.0 / 4095))


def test_the_modality_table_and_the_rescale_come_first(write_loop):
    path = write_loop(DEEP, bits_stored=12, ModalityLUTSequence=Sequence([table(CURVE, 5, 16)]))
    expected = apply_modality_lut(DEEP[0], dcmread(path))
    np.testing.assert_array_equal(open_loop(path).display.modality_values(DEEP[0]), expected)
    path = write_loop(DEEP, bits_stored=12, RescaleSlope=2.5, RescaleIntercept=-1000)
    expected = apply_modality_lut(DEEP[0], dcmread(path))
    np.testing.assert_allclose(open_loop(path).display.modality_values(DEEP[0]), expected)


def test_without_any_choice_the_whole_stored_range_is_shown(write_loop):
    pixels = np.array([[[0, 4095]]], dtype=np.uint16)
    display = open_loop(write_loop(pixels, bits_stored=12)).display
    np.testing.assert_array_equal(display.grey(pixels[0]), [[0, 255]])
    signed = np.array([[[-2048, 2047]]], dtype=np.int16)
    display = open_loop(write_loop(signed, bits_stored=12)).display
    np.testing.assert_array_equal(display.grey(signed[0]), [[0, 255]])


def test_low_values_are_bright_where_the_file_says_so(write_loop):
    plain = open_loop(write_loop(DEEP, bits_stored=12)).display.grey(DEEP[0])
    for changes in (
        {"PhotometricInterpretation": "MONOCHROME1"},
        {"PresentationLUTShape": "INVERSE"},
    ):
        path = write_loop(DEEP, bits_stored=12, **changes)
        loop = open_loop(path)
        assert np.abs(loop.display.grey(DEEP[0]).astype(int) - (255 - plain)).max() <= 1
        np.testing.assert_array_equal(loop.frame(0), DEEP[0])  # measured as stored


@pytest.mark.parametrize(
    "changes",
    [
        {"WindowCenter": 5, "WindowWidth": 0},
        {"WindowCenter": b"wide", "WindowWidth": 5},
        {"WindowCenter": 5},
        {"VOILUTSequence": Sequence([table(CURVE, 0, 4)])},
        {"VOILUTSequence": Sequence([Dataset()])},
        {"ShutterShape": "ROUND"},
        {"ShutterShape": "CIRCULAR", "CenterOfCircularShutter": [5, 5]},
        {"ShutterShape": "POLYGONAL", "VerticesOfThePolygonalShutter": [1, 1, 2, 2]},
        {"ShutterShape": "RECTANGULAR", "ShutterLeftVerticalEdge": 3},
        {"RescaleSlope": 0},
    ],
)
def test_what_cannot_be_used_is_left_out(write_loop, changes):
    assert open_loop(write_loop(DEEP, bits_stored=12, **changes)).display == Display(highest=4095)


def test_a_window_of_width_1_is_a_threshold():
    np.testing.assert_array_equal(Window(centre=10, width=1).apply(np.array([9, 10])), [0, 1])


def test_a_table_holds_at_its_ends():
    found = LookupTable(entries=(7, 8, 9), first=-1, bits=8).apply(np.array([-5, -1, 0, 1, 99]))
    np.testing.assert_array_equal(found, [7, 7, 8, 9, 9])


def test_a_shutter_hides_on_the_screen_only(write_loop):
    path = write_loop(
        DEEP | 1, bits_stored=12, ShutterShape=["RECTANGULAR", "CIRCULAR"],
        ShutterUpperHorizontalEdge=2, ShutterLowerHorizontalEdge=7, ShutterLeftVerticalEdge=3,
        ShutterRightVerticalEdge=9, CenterOfCircularShutter=[4, 6], RadiusOfCircularShutter=3,
        ShutterPresentationValue=0x4000,
    )  # fmt: skip
    loop = open_loop(path)
    seen = loop.display.shutter.visible(8, 10)
    assert seen[3, 5] and seen[3, 2] and seen[1, 5] and seen[6, 5]  # noqa: PT018  one picture
    assert not seen[0, 5]
    assert not seen[3, 1]
    assert not seen[5, 8]
    grey = loop.display.grey(loop.frame(0))
    assert (grey[~seen] == 0x40).all()
    np.testing.assert_array_equal(
        grey[seen], loop.display.grey(loop.frame(0), shuttered=False)[seen]
    )
    np.testing.assert_array_equal(loop.frame(0), DEEP[0] | 1)


def test_a_polygonal_shutter_is_what_another_library_fills():
    from skimage.draw import polygon2mask

    corners = ((0.47, 2.51), (3.38, 11.46), (11.5, 8.5), (6.5, 6.5), (9.5, 0.5))
    seen = Shutter(polygon=corners).visible(13, 14)
    np.testing.assert_array_equal(seen, polygon2mask((13, 14), corners))


def mask(operation="AVG_SUB", **attributes):
    item = Dataset()
    item.MaskOperation = operation
    for keyword, value in attributes.items():
        setattr(item, keyword, value)
    return item


def masked(write_loop, item):
    path = write_loop(DEEP, bits_stored=12, MaskSubtractionSequence=Sequence([item]))
    return open_loop(path)


def subtract(loop, n):
    return loop.masks[0].subtracted(n, frames=loop.frames, decode=loop.frame)


def test_the_mean_of_the_mask_frames_is_subtracted(write_loop):
    loop = masked(write_loop, mask(MaskFrameNumbers=[1, 2], ApplicableFrameRange=[3, 3]))
    expected = DEEP[2].astype(float) - (DEEP[0].astype(float) + DEEP[1]) / 2
    np.testing.assert_allclose(subtract(loop, 2), expected)
    np.testing.assert_array_equal(loop.frame(2), DEEP[2])  # measured as stored
    with pytest.raises(LoopError, match="no mask to be subtracted"):
        subtract(loop, 1)


def test_contrast_frames_are_averaged_and_the_mask_is_moved(write_loop):
    loop = masked(
        write_loop,
        mask(MaskFrameNumbers=[1], ContrastFrameAveraging=2, MaskSubPixelShift=[1.0, 0.0]),
    )
    moved = np.vstack([DEEP[0][:1], DEEP[0][:-1]])
    expected = (DEEP[1].astype(float) + DEEP[2]) / 2 - moved
    np.testing.assert_allclose(subtract(loop, 1), expected)


def test_a_positive_column_offset_moves_the_mask_to_the_left(write_loop):
    """PS3.3 C.7.6.10.1.2, 2008, as GDCM ships it: towards the left hand side column."""
    loop = masked(write_loop, mask(MaskFrameNumbers=[1], MaskSubPixelShift=[0.0, 1.0]))
    moved = np.hstack([DEEP[0][:, 1:], DEEP[0][:, -1:]])
    np.testing.assert_allclose(subtract(loop, 1), DEEP[1].astype(float) - moved)


def test_an_earlier_frame_is_subtracted(write_loop):
    loop = masked(write_loop, mask("TID", TIDOffset=2))
    np.testing.assert_allclose(subtract(loop, 2), DEEP[2].astype(float) - DEEP[0])
    with pytest.raises(LoopError, match="no mask"):
        subtract(loop, 1)


@pytest.mark.parametrize(
    "item", [mask("NONE"), mask("REV_TID"), mask("AVG_SUB", MaskFrameNumbers=[9])]
)
def test_a_mask_that_cannot_be_carried_out_subtracts_nothing(write_loop, item):
    loop = masked(write_loop, item)
    if loop.masks:
        with pytest.raises(LoopError, match="no mask"):
            subtract(loop, 0)
