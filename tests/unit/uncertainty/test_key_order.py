"""What identifies a file in a key takes no part in how its input is drawn."""

import numpy as np
import pytest

from annot.uncertainty import generator_for, propagate, sample, stated
from annot.uncertainty.key_order import anonymous, key_order


def quantity(value: float, u: float, key: str):
    return stated(value, u, key=key, unit="mm", source="invented")


def product(first: str, second: str):
    one, two = quantity(2.0, 0.1, first), quantity(3.0, 0.2, second)
    return propagate(lambda a, b: a * b, [one, two], unit="mm2")


@pytest.mark.parametrize(
    ("key", "left"),
    [
        ("catheter-46b82ece:size", "catheter:size"),
        ("depth-28d9d9cd:depth", "depth:depth"),
        ("system-7ba38131:ultrasound", "system:ultrasound"),
        ("1.2.826.0.1.3680043.8.498.242:sound", ":sound"),
        ("2.25.340191727265563711942402240902376607788:sound", ":sound"),
        (f"{'0f' * 32}:27:ostium", ":27:ostium"),
        ("o1:0:row:placed", "o1:0:row:placed"),
        ("lz-90:1:column", "lz-90:1:column"),
        ("tip:landmark:12:140.250,268.300:row", "tip:landmark:12:140.250,268.300:row"),
    ],
)
def test_a_key_loses_its_files_identity_and_nothing_else(key, left):
    assert anonymous(key) == left
    assert key_order(key) == (left, key)


def test_a_copy_under_other_identifiers_draws_the_same():
    ours = product("1.2.826.0.1:sound", "catheter-46b82ece:size")
    theirs = product("2.25.340191727265563711942402240902376607788:sound", "catheter-0e300e9d:size")
    assert np.array_equal(sample(ours, draws=1000), sample(theirs, draws=1000))


def test_another_caliper_draws_otherwise():
    first, second = product("a:placed", "s:size"), product("b:placed", "s:size")
    drawn = [generator_for([one]).random() for one in (first, second)]
    assert drawn[0] != drawn[1]
