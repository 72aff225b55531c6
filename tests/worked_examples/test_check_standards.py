"""A handbook's calibration of an optical width and its check standards, as a room's check does it.

NIST/SEMATECH e-Handbook 2.3.6.7.3 (the line through 40 readings of 10 artefacts) and 2.3.7.1 (three
check standards on six days): the data were seen in an independent public source, the printed
line (0.2357, 0.9870, residual 0.06203, standard deviations 0.02430 and 0.00344) is from memory.
"""

import json
from pathlib import Path

import numpy as np
import pytest

from annot.quality import individuals_chart, limits_of_individuals, set_limits, stated_limits
from annot.quality.size_linearity import size_linearity

DATA = Path(__file__).parent / "data"
LINE = json.loads((DATA / "check_standards.json").read_text())
FLOW = json.loads((DATA / "control_charts.json").read_text())["nist-6.3.2.2"]["inputs"]["x"]
SCATTER = 0.06203


def test_the_line_through_ten_artefacts():
    line = size_linearity(LINE["true"], LINE["seen"], [SCATTER] * 40, key="nist")
    assert line.dof == 38
    assert np.sqrt(line.chi2 / line.dof) * SCATTER == pytest.approx(SCATTER, abs=5e-6)
    assert line.offset.value == pytest.approx(0.2357, abs=1e-4)
    assert line.offset.u == pytest.approx(0.02430, abs=1e-5)
    assert 1 + line.slope.value / 100 == pytest.approx(0.9870, abs=5e-5)
    assert line.slope.u / 100 == pytest.approx(0.00344, abs=5e-6)


def test_only_the_fourth_day_is_out_of_control():
    """The handbook: the instrument was out of control on the fourth day."""
    line = size_linearity(LINE["true"], LINE["seen"], [SCATTER] * 40, key="nist")
    slope = 1 + line.slope.value / 100
    left = [
        (seen - line.offset.value) / slope - true for _, _, true, seen in LINE["check_standards"]
    ]
    chart = individuals_chart(left, stated_limits(centre=0, sigma=SCATTER / slope), rules=False)
    days = [LINE["check_standards"][one.point][0] for one in chart.signals]
    assert days == [4, 4, 4]


def test_limits_as_a_room_records_them_are_the_handbooks():
    """NIST e-Handbook 6.3.2.2: 50.81, 45.8159 to 55.8041 (seen), with d2 rounded to 1.128."""
    members = [str(number) for number in range(len(FLOW))]
    recorded = set_limits([[one] for one in FLOW], members=members).centre
    assert recorded == limits_of_individuals(FLOW)
    assert (recorded.centre, recorded.lower, recorded.upper) == pytest.approx(
        (50.81, 45.8159, 55.8041), abs=0.002
    )
