"""Tables become cross-sections and answers of a chart; what cannot be is refused."""

from dataclasses import replace

import pytest

from annot.errors import InputError
from annot.geometry.ellipse import Ellipse
from annot.sizing import parse_chart
from annot.tasks.section import section_facts, sections_of, side_by_side
from annot.tasks.sizes import answers_of
from tests.unit.measurement.section_rows import echo_rows, row, xray_rows

OVAL = Ellipse(largest=25.0, smallest=19.0, orientation_deg=30.0)
CHART = parse_chart(
    "label,nominal_mm,width_from_mm,width_to_mm\nM,24,20,22\nL,26,22,24\nXL,28,24,26\n",
    name="c.csv",
)


def test_each_study_quantity_reader_modality_and_moment_stands_alone():
    rows = [
        *echo_rows(OVAL, moment="largest"),
        *echo_rows(OVAL, moment="smallest"),
        *echo_rows(OVAL, reader="B", moment="largest"),
        *echo_rows(OVAL, quantity="ostium_width", moment="largest"),
        *xray_rows(OVAL, moment="largest"),
        *echo_rows(OVAL, study="HARBOUR-02", moment="largest"),
    ]
    sections = sections_of(rows)
    assert len({one.name for one in sections}) == len(sections) == 6
    assert [(one.study, one.quantity) for one in side_by_side(rows, sections)] == [
        ("HARBOUR-01", "landing_zone_width"),
        ("HARBOUR-01", "ostium_width"),
        ("HARBOUR-02", "landing_zone_width"),
    ]
    assert [one.fit is not None for one in sections] == [True] * 6


def test_one_moment_spelled_in_two_ways_is_one_cross_section():
    rows = [
        *echo_rows(OVAL, (0, 45), moment="end systole"),
        *echo_rows(OVAL, (90, 135), moment="End-systole"),
        row(25.0, quantity="depth", moment="END SYSTOLE"),
    ]
    [section] = sections_of(rows)
    assert (section.name.moment, len(section.everything_seen)) == ("end_systole", 4)
    [answer] = answers_of(rows, CHART)
    assert answer.basis.depth is not None


def test_different_moments_are_compared_but_never_averaged():
    small = Ellipse(largest=20.0, smallest=15.0, orientation_deg=30.0)
    rows = [
        *echo_rows(OVAL, moment="largest"),
        *echo_rows(small, moment="smallest"),
        *echo_rows(OVAL, moment="largest", reader="B"),
    ]
    [group] = side_by_side(rows, sections_of(rows))
    assert {one.moment for one in group.combinations} == {"largest"}
    assert all("smallest" not in part for one in group.combinations for part in one.parts)
    assert all(len(one.parts) == 2 for one in group.combinations)
    # the change over the cycle stays among the differences
    assert any("smallest" in one.first + one.second for one in group.pairs)


def test_the_order_of_rows_changes_nothing():
    rows = echo_rows(OVAL, noise=(0.3, -0.2, 0.1, 0.2))
    straight, back = (section_facts(sections_of(one)[0]) for one in (rows, rows[::-1]))
    for name in ("largest", "perimeter_diameter"):
        assert straight[name]["value"] == pytest.approx(back[name]["value"])
        assert straight[name]["u"] == pytest.approx(back[name]["u"])


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([row(80.0, unit="px")], "no width in mm"),
        ([row(25.0, quantity="depth")], "no width in mm"),
        ([replace(row(20.0, line=7), u=0.0)], "line 7"),
    ],
)
def test_a_table_without_widths_or_uncertainty_is_refused(rows, words):
    with pytest.raises(InputError) as fault:
        sections_of(rows)
    assert words in str(fault.value)


def test_a_joint_fit_needs_both_modalities_and_uses_all_of_their_views():
    rows = [*echo_rows(OVAL, (0, 90)), *xray_rows(OVAL, (20, 80))]
    assert all(one.fit is None for one in sections_of(rows))
    joint = sections_of(rows, common_zero=True)[-1]
    assert joint.name.modality == "US+XA"
    assert joint.estimates["perimeter_diameter"].value == pytest.approx(
        OVAL.perimeter_diameter, rel=2e-3
    )
    assert sections_of(echo_rows(OVAL), common_zero=True)[-1].name.modality == "US"


def test_a_plane_off_the_centre_reaches_the_diameters():
    plain, wider = (
        sections_of(echo_rows(OVAL), off_centre_mm=reach)[0].estimates["mean"].value
        for reach in (0.0, 2.0)
    )
    # 2·reach²/(3·W²) of a width of 22 mm
    assert wider / plain - 1 == pytest.approx(2 * 4 / 3 / 22**2, rel=0.15)


def test_a_chart_needs_a_known_basis_and_the_quantity_in_the_table():
    with pytest.raises(InputError, match="largest, area, perimeter"):
        answers_of(echo_rows(OVAL), CHART, basis="widest")
    with pytest.raises(InputError, match="no ostium_width"):
        answers_of(echo_rows(OVAL), CHART, quantity="ostium_width")


def test_readers_under_one_scale_agree_on_rows_more_often_than_under_two():
    first = echo_rows(OVAL, own=0.1, scale_rel=0.03)
    shared = [*first, *echo_rows(OVAL, own=0.1, scale_rel=0.03, reader="B")]
    apart = [*first, *echo_rows(OVAL, own=0.1, scale_rel=0.03, reader="B", scale_id="us-2")]
    together, alone = (
        answers_of(rows, CHART, basis="perimeter")[0].others[0].same_rows
        for rows in (shared, apart)
    )
    assert together > alone + 0.2


def test_what_tips_the_choice_stands_with_the_row_it_leads_to():
    [answer] = answers_of(echo_rows(OVAL, scale_rel=0.04), CHART, basis="perimeter")
    facts = {one["label"]: one for one in answer.facts()}
    assert max(answer.matches, key=lambda one: one.probability).label == "L"
    assert any("scale us-1" in text for text in facts["M"]["tipped_by"])
    assert facts["L"]["tipped_by"] == []


def test_depths_of_another_reader_or_moment_are_not_taken():
    rows = [
        *echo_rows(OVAL),
        row(25.0, quantity="depth", reader="B"),
        row(26.0, quantity="depth", moment="smallest"),
    ]
    [answer] = answers_of(rows, CHART)
    assert answer.basis.depth is None
