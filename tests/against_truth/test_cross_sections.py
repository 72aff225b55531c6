"""The generator's own chords and shadows against the ellipse that it made them from."""

from dataclasses import replace

import pytest

from annot.geometry.ellipse import Ellipse
from annot.measurement.measured_row import MeasuredRow
from annot.tasks.section import sections_of
from synthetic_dicom import CASES, truth_of

ECHO = ("us_000", "us_045", "us_090", "us_135")
XRAY = ("xa_clean", "xa_caudal")
FRAME = 20


def rows_of_loops(names, quantity, seed):
    rows = []
    for name in names:
        truth = truth_of(CASES[name], seed=seed)
        one = truth.caliper(quantity, FRAME)
        rows.append(
            MeasuredRow(
                study="S",
                quantity=quantity,
                reader="A",
                value=one.value_mm,
                unit="mm",
                u=0.1,
                modality=truth.modality,
                view_deg=one.view_deg,
                scale_id=name,
                share_scale=0.0,
            )
        )
    return rows


def axes_of(quantity, seed, name="us_000"):
    anatomy = truth_of(CASES[name], seed=seed).anatomy
    axes = anatomy.ostium_axes_mm if quantity == "ostium_width" else anatomy.landing_zone_axes_mm
    return axes[FRAME], anatomy.orientation_deg


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("quantity", ["ostium_width", "landing_zone_width"])
def test_four_planes_give_the_axes_and_the_direction_of_the_section(quantity, seed):
    [section] = sections_of(rows_of_loops(ECHO, quantity, seed))
    (largest, smallest), turn = axes_of(quantity, seed)
    found = section.estimates
    assert section.chi2 == pytest.approx(0, abs=1e-6)
    # the correction for selection takes out what noise of 0.1 mm would add
    assert found["largest"].value == pytest.approx(largest, abs=0.01)
    assert found["smallest"].value == pytest.approx(smallest, abs=0.01)
    assert (found["orientation"].value - turn + 90) % 180 - 90 == pytest.approx(0, abs=0.01)


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("name", XRAY)
def test_xray_widths_are_shadows_of_the_same_section_in_their_stated_direction(name, seed):
    for quantity in ("ostium_width", "landing_zone_width"):
        [row] = rows_of_loops([name], quantity, seed)
        (largest, smallest), turn = axes_of(quantity, seed, name)
        section = Ellipse(largest=largest, smallest=smallest, orientation_deg=turn)
        assert float(section.silhouette(row.view_deg)) == pytest.approx(row.value, rel=1e-9)


def test_two_shadows_and_two_chords_from_one_zero_fit_one_ellipse():
    (largest, smallest), turn = axes_of("ostium_width", 1, "xa_clean")
    section = Ellipse(largest=largest, smallest=smallest, orientation_deg=turn)
    xray = rows_of_loops(XRAY, "ostium_width", 1)
    echo = [
        replace(row, value=float(section.chord(row.view_deg)))
        for row in rows_of_loops(ECHO[:2], "ostium_width", 1)
    ]
    joint = sections_of([*echo, *xray], common_zero=True)[-1]
    assert joint.dof == 1
    assert joint.chi2 == pytest.approx(0, abs=1e-6)
    assert joint.estimates["largest"].value == pytest.approx(largest, abs=0.01)
