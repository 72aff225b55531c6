"""Intervals of whole measurements hold the truth about as often as they say: a small, quick share.

`annot validate reading` runs the study itself; here are only cases that need no rendering.
"""

import pytest

from annot.tasks.rehearse import READING, run_case, tally
from annot.tasks.rehearse.reading_case import JITTERED

DEPTHS_IN_ECHO = range(5, 6 * 120, 6)


@pytest.fixture(scope="module")
def depths():
    return [one for case in DEPTHS_IN_ECHO for one in run_case(READING, case, seed=11)]


def test_depths_in_echo_hold_their_truth(depths):
    assert {(one.arm, one.labels["modality"], one.labels["quantity"]) for one in depths} == {
        (JITTERED, "echo", "depth")
    }
    found = tally(depths)
    # of 120 honest 95 % intervals fewer than 105 hold once in 3 000
    assert (found.answered, found.refused) == (120, 0)
    assert found.held >= 105
    assert abs(found.bias_rel) < 4 * found.u_bias_rel


def test_an_uncertainty_of_half_the_size_would_be_noticed(depths):
    narrow = sum(abs(one.value - one.true) <= (one.high - one.low) / 4 for one in depths)
    assert narrow < 105
