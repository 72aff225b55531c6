"""Rendered loops in every encoding of the generator: the pixels that were rendered come back."""

import numpy as np
import pytest

from annot.loops import LoopArray, open_loop
from synthetic_dicom.cases import render_case, write_case
from synthetic_dicom.encode import ENCODINGS


@pytest.mark.parametrize("encoding", [one for one in ENCODINGS if one != "jpeg"])
@pytest.mark.parametrize("name", ["xa_clean", "us_000", "us_grey"])
def test_a_rendered_loop_comes_back_exactly(tmp_path, name, encoding):
    loop = open_loop(write_case(name, tmp_path, frames=2, encoding=encoding).path)
    rendered, _ = render_case(name, frames=2)
    np.testing.assert_array_equal(np.asarray(LoopArray(loop)), rendered.reshape(loop.shape))
    assert loop.header.warnings == ()
