"""Looking at a loop: one frame at a time, as the file asks, and never a stored value changed."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence

from annot.errors import LoopError
from annot.loops import DisplayChoice, Loop, LoopArray, ShownLoop, open_loop, stored_range
from annot.loops.display import Window
from tests.unit.loops.test_display import CURVE, mask, table

RNG = np.random.default_rng(8)
DEEP = RNG.integers(0, 4096, (6, 8, 10), dtype=np.uint16)
SIGNED = (DEEP.astype(np.int16) - 2048).astype(np.int16)
AS_STORED = DisplayChoice(greys=None, shuttered=False)
SHUTTER = {
    "ShutterShape": "RECTANGULAR",
    "ShutterUpperHorizontalEdge": 2,
    "ShutterLowerHorizontalEdge": 7,
    "ShutterLeftVerticalEdge": 3,
    "ShutterRightVerticalEdge": 9,
    "ShutterPresentationValue": 0x4000,
}
LOW_IS_BRIGHT = {"PhotometricInterpretation": "MONOCHROME1"}
WINDOWS = {
    "WindowCenter": [700, 1500.5],
    "WindowWidth": [300, 2000],
    "WindowCenterWidthExplanation": ["BONE", "SOFT"],
}


@pytest.fixture
def written(write_loop):
    """Give a function that writes and opens a deep loop."""
    return lambda pixels=DEEP, **said: open_loop(write_loop(pixels, bits_stored=12, **said))


@pytest.mark.parametrize("pixels", [DEEP, SIGNED], ids=["unsigned", "signed"])
@pytest.mark.parametrize("function", ["LINEAR", "LINEAR_EXACT", "SIGMOID"])
@pytest.mark.parametrize("inverted", [False, True])
def test_each_named_window_shows_what_the_display_computes(written, pixels, function, inverted):
    loop = written(pixels, **WINDOWS, VOILUTFunction=function)
    for place, window in enumerate(loop.display.windows):
        shown = ShownLoop(loop, DisplayChoice(greys=place, inverted=inverted))
        expected = loop.display.grey(pixels[1], choice=window).astype(int)
        difference = shown.frame(1) - (255 - expected if inverted else expected)
        assert np.abs(difference).max() <= inverted  # a half is rounded up from either end
    assert shown.dtype == np.uint8


def test_a_table_of_the_file_is_chosen_after_its_windows(written):
    loop = written(**WINDOWS, VOILUTSequence=Sequence([table(CURVE, 1000, 12)]))
    np.testing.assert_array_equal(
        ShownLoop(loop, DisplayChoice(greys=2)).frame(0),
        loop.display.grey(DEEP[0], choice=loop.display.tables[0]),
    )


@pytest.mark.parametrize("greys", [None, 7])
def test_what_the_file_does_not_offer_is_the_whole_range(written, greys):
    loop = written(np.array([[[0, 4095]]], dtype=np.uint16), **WINDOWS)
    shown = ShownLoop(loop, DisplayChoice(greys=greys))
    np.testing.assert_array_equal(shown.frame(0), [[0, 255]])


def test_samples_too_wide_for_a_table_are_shown_too(write_loop):
    pixels = np.array([[[0, 1 << 31, (1 << 32) - 1]]], dtype=np.uint32)
    loop = open_loop(write_loop(pixels))
    np.testing.assert_array_equal(ShownLoop(loop, DisplayChoice()).frame(0), [[0, 128, 255]])


def test_the_shutter_hides_on_the_screen_and_can_be_taken_away(written):
    loop = written(DEEP | 1, **SHUTTER)
    seen = loop.display.shutter.visible(8, 10)
    under, open_ = (ShownLoop(loop, DisplayChoice(shuttered=one)).frame(2) for one in (True, False))
    assert (under[~seen] == 0x40).all()
    np.testing.assert_array_equal(under[seen], open_[seen])
    np.testing.assert_array_equal(open_, loop.display.grey(DEEP[2] | 1, shuttered=False))


def test_colours_are_shown_as_they_are_under_the_shutter(write_loop):
    pixels = RNG.integers(1, 250, (2, 8, 10, 3), dtype=np.uint8)
    loop = open_loop(write_loop(pixels, **SHUTTER))
    shown = ShownLoop(loop, DisplayChoice(subtracted=True, inverted=True)).frame(1)
    seen = loop.display.shutter.visible(8, 10)
    np.testing.assert_array_equal(shown[seen], pixels[1][seen])
    assert (shown[~seen] == 0x40).all()


def test_a_difference_lies_around_middle_grey(written):
    loop = written(MaskSubtractionSequence=Sequence([mask(MaskFrameNumbers=[1])]))
    shown = ShownLoop(loop, DisplayChoice(subtracted=True)).frame(2)
    difference = DEEP[2].astype(int) - DEEP[0]
    assert (shown[difference > 50] > 127).all()
    assert (shown[difference < -50] < 128).all()
    order = np.argsort(difference, axis=None)
    assert (np.diff(shown.ravel()[order].astype(int)) >= 0).all()
    assert set(np.unique(ShownLoop(loop, DisplayChoice(subtracted=True)).frame(0))) == {128}
    swapped = ShownLoop(loop, DisplayChoice(subtracted=True, inverted=True)).frame(2)
    assert np.abs(swapped + shown.astype(int) - 255).max() <= 1


def test_each_frame_is_subtracted_by_the_mask_that_holds_for_it(written):
    masks = [
        mask(MaskFrameNumbers=[1], ApplicableFrameRange=[2, 3]),
        mask("TID", TIDOffset=1, ApplicableFrameRange=[5, 6]),
    ]
    loop = written(MaskSubtractionSequence=Sequence(masks))
    shown = ShownLoop(loop, DisplayChoice(subtracted=True))
    spread = np.percentile(np.abs(DEEP[4].astype(float) - DEEP[3]), 99.5)  # the middle of 1 2 4 5
    for n, under in ((1, 0), (2, 0), (4, 3), (5, 4)):
        scaled = 127.5 * (1 + (DEEP[n].astype(float) - DEEP[under]) / spread)
        np.testing.assert_array_equal(shown.frame(n), np.rint(np.clip(scaled, 0, 255)))
    for n in (0, 3):
        with pytest.raises(LoopError, match=f"frame {n} has no mask.*unsubtracted"):
            shown.frame(n)


def test_a_loop_without_a_mask_has_nothing_to_subtract(written):
    with pytest.raises(LoopError, match="no mask to be subtracted"):
        ShownLoop(written(), DisplayChoice(subtracted=True)).frame(1)


def test_only_what_is_shown_is_decoded(written, monkeypatch):
    loop = written(MaskSubtractionSequence=Sequence([mask(MaskFrameNumbers=[1])]))
    decoded = []
    decode = Loop.frame
    monkeypatch.setattr(Loop, "frame", lambda self, n: decoded.append(n) or decode(self, n))
    array = LoopArray(ShownLoop(loop, DisplayChoice()), ahead_frames=0)
    assert decoded == []
    for n in (4, 2, 4):
        _ = array[n]
    assert decoded == [4, 2]
    decoded.clear()
    array = LoopArray(ShownLoop(loop, DisplayChoice(subtracted=True)), ahead_frames=0)
    for n in (4, 2):
        _ = array[n]
    # The mask and the middle frame once, the latter to find how far greys reach.
    assert sorted(decoded) == [0, 2, 3, 4]


@pytest.mark.parametrize(
    "choice",
    [
        DisplayChoice(greys=greys, shuttered=shuttered, subtracted=subtracted, inverted=inverted)
        for greys in (None, 0, 1)
        for shuttered in (True, False)
        for subtracted in (True, False)
        for inverted in (True, False)
    ],
)
def test_no_way_of_looking_changes_a_stored_value(written, choice):
    loop = written(
        **WINDOWS, **SHUTTER, MaskSubtractionSequence=Sequence([mask(MaskFrameNumbers=[1])])
    )
    kept = LoopArray(loop)
    before = kept[:]
    shown = ShownLoop(loop, choice)
    for n in range(loop.frames):
        with pytest.raises(ValueError, match="read-only"):
            shown.frame(n)[0, 0] = 1
    np.testing.assert_array_equal(before, DEEP)
    np.testing.assert_array_equal(kept[:], DEEP)
    np.testing.assert_array_equal([loop.frame(n) for n in range(loop.frames)], DEEP)


@given(
    centre=st.floats(-500, 5000),
    width=st.floats(2, 6000),
    function=st.sampled_from(["LINEAR", "LINEAR_EXACT"]),
    slope=st.sampled_from([1.0, 0.25, 3.0, -2.0]),
    intercept=st.sampled_from([0.0, -1000.0]),
)
def test_a_range_of_stored_values_is_the_same_picture(
    displayed_loop, centre, width, function, slope, intercept
):
    """A range is what a viewer spreads by itself, so both ways must give one brightness."""
    loop = displayed_loop(
        windows=(Window(centre=centre, width=width, function=function),),
        slope=slope,
        intercept=intercept,
    )
    found = stored_range(loop, DisplayChoice())
    spread = np.clip((DEEP[0] - found.low) / (found.high - found.low), 0, 1)
    brightness = 1 - spread if found.inverted else spread
    shown = ShownLoop(loop, DisplayChoice()).frame(0)
    assert np.abs(brightness * 255 - shown).max() <= 0.5 + 1e-6


@pytest.fixture(scope="module")
def displayed_loop(tmp_path_factory):
    """Give a function that shows one loop with another display."""
    from dataclasses import replace

    from tests.unit.loops.conftest import grey_dataset

    path = tmp_path_factory.mktemp("display") / "loop.dcm"
    dataset = grey_dataset(DEEP, bits_stored=12)
    dataset.add_new("PixelData", "OW", DEEP.tobytes())
    dataset.file_meta = Dataset()
    dataset.file_meta.TransferSyntaxUID = "1.2.840.10008.1.2.1"
    dataset.save_as(path, enforce_file_format=True)

    def displayed(**changes):
        loop = open_loop(path)
        loop.display = replace(loop.display, **changes)
        return loop

    return displayed


@pytest.mark.parametrize(
    ("said", "choice", "expected"),
    [
        ({}, DisplayChoice(), (0, 4095, False)),
        # PS3.3 C.11.2.1.2: black at c - 0.5 - (w - 1) / 2, white at c - 0.5 + (w - 1) / 2.
        ({"WindowCenter": 128, "WindowWidth": 256}, DisplayChoice(), (0, 255, False)),
        (WINDOWS, DisplayChoice(greys=1), (500.5, 2499.5, False)),
        (LOW_IS_BRIGHT, DisplayChoice(), (0, 4095, True)),
        (LOW_IS_BRIGHT, DisplayChoice(inverted=True), (0, 4095, False)),
        ({}, DisplayChoice(inverted=True), (0, 4095, True)),
        (SHUTTER, AS_STORED, (0, 4095, False)),
    ],
)
def test_the_stored_values_that_are_black_and_white_are_told(written, said, choice, expected):
    found = stored_range(written(**said), choice)
    assert (found.low, found.high, found.inverted) == expected


@pytest.mark.parametrize(
    ("said", "choice"),
    [
        (SHUTTER, DisplayChoice()),
        ({**WINDOWS, "VOILUTFunction": "SIGMOID"}, DisplayChoice()),
        ({"VOILUTSequence": Sequence([table(CURVE, 1000, 12)])}, DisplayChoice()),
        ({"ModalityLUTSequence": Sequence([table(CURVE, 5, 16)])}, DisplayChoice()),
        ({"WindowCenter": 700, "WindowWidth": 1}, DisplayChoice()),
        ({}, DisplayChoice(subtracted=True)),
    ],
)
def test_more_than_a_range_of_values_is_not_called_one(written, said, choice):
    assert stored_range(written(**said), choice) is None


def test_colour_has_no_range_of_values(write_loop):
    loop = open_loop(write_loop(np.zeros((1, 4, 5, 3), np.uint8)))
    assert stored_range(loop, DisplayChoice()) is None


def test_a_steep_sigmoid_does_not_overflow(written):
    loop = written(WindowCenter=4000, WindowWidth=0.001, VOILUTFunction="SIGMOID")
    shown = ShownLoop(loop, DisplayChoice()).frame(0)
    np.testing.assert_array_equal(shown[DEEP[0] < 4000], 0)


@pytest.mark.parametrize(
    ("item", "words"),
    [
        (mask("REV_TID"), "Mask 1: its operation REV_TID is not carried out"),
        (mask("SIDEWAYS"), "Mask 1: its operation SIDEWAYS is not carried out"),
        (Dataset(), "Mask 1: its operation, which is not named, is not carried out"),
    ],
)
def test_an_operation_that_is_not_carried_out_is_said(written, item, words):
    """PS3.3 C.7.6.10, Mask Operation (0028,6101): terms other than AVG_SUB and TID."""
    loop = written(MaskSubtractionSequence=Sequence([item]))
    assert loop.masks == ()
    assert loop.display.notes == (f"{words}; frames without another mask are shown unsubtracted.",)


@pytest.mark.parametrize(
    "group", ["SharedFunctionalGroupsSequence", "PerFrameFunctionalGroupsSequence"]
)
def test_a_mask_moved_frame_by_frame_is_not_subtracted_unmoved(written, group):
    """PS3.3 C.7.6.10: the shift of the functional group prevails over the module's."""
    macro = Dataset()
    macro.FramePixelShiftSequence = Sequence([Dataset()])
    loop = written(
        MaskSubtractionSequence=Sequence([mask(MaskFrameNumbers=[1])]),
        **{group: Sequence([macro])},
    )
    assert loop.masks == ()
    assert any("moved frame by frame" in note for note in loop.display.notes)


def test_a_mask_that_is_carried_out_has_nothing_to_say(written):
    loop = written(MaskSubtractionSequence=Sequence([mask(MaskFrameNumbers=[1]), mask("NONE")]))
    assert len(loop.masks) == 1
    assert loop.display.notes == ()
