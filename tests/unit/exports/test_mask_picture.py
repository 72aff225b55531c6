"""The picture by which a mask is judged shows every moment, and exactly what would leave."""

import io

import numpy as np
import pydicom
from PIL import Image

from annot.exports.mask_picture import GAP, mask_picture
from annot.loops import open_loop
from annot.reads.blinding import PictureMask
from tests import planted

MASK = PictureMask(shown=((20, 10, 200, 300),), hidden=((50, 50, 60, 60),))


def panels(path):
    loop = open_loop(path)
    rows, columns = loop.header.rows, loop.header.columns
    picture = np.asarray(Image.open(io.BytesIO(mask_picture(loop, MASK))))
    assert picture.shape == (2 * rows + GAP, 3 * columns + 2 * GAP, 3)
    tops, lefts = (0, rows + GAP), [number * (columns + GAP) for number in range(3)]
    return [[picture[top : top + rows, left : left + columns] for left in lefts] for top in tops]


def test_what_appears_for_one_frame_only_is_in_the_picture(tmp_path):
    source = planted.planted_loop(tmp_path, "us_grey", frames=3)
    dataset = pydicom.dcmread(source)
    pixels = dataset.pixel_array.copy()
    pixels[:, 300:320, 100:200] = 90
    pixels[1, 305, 110:120] = 255  # bright for one frame
    pixels[2, 310, 110:120] = 0  # dark for one frame
    pixels[1, 2, 5:15] = 1  # too faint for any screen
    dataset.PixelData = pixels.tobytes()
    dataset.save_as(source)
    (brightest, darkest, faint), below = panels(source)
    assert (brightest[305, 110:120] > brightest[304, 110]).any(axis=1).all()
    assert (darkest[310, 110:120] < darkest[309, 110]).any(axis=1).all()
    assert (faint[2, 5:15, 0] > faint[2, 30, 0]).all()
    kept = MASK.visible(*brightest.shape[:2])
    for shown in below:
        assert not shown[~kept].any()
    assert np.array_equal(below[0][kept], brightest[kept])


def test_grey_of_many_bits_and_colour_are_both_shown(tmp_path):
    for case in ("xa_clean", "us_000"):
        above, below = panels(planted.planted_loop(tmp_path / case, case, frames=2))
        assert above[0].max() > 200
        assert below[0].max() > 200
