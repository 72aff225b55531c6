"""The measurement table: its columns, and that each number can be walked back."""

import dataclasses
import math
from pathlib import Path

import pytest
from hypothesis import given

from annot.calibration import HeaderRequest, header_scale
from annot.calibration.identity import speed_group
from annot.exports import COLUMNS, csv_text, measurement_row, rows_of
from annot.exports.table import protocol_hash
from annot.exports.table_file import parse_table
from annot.geometry import PixelPoint
from annot.measurement import Beam, Known, measure_caliper
from annot.measurement.section_views import cross_covariance, seen_length
from annot.reads import LoopRead, ViewOverride
from annot.uncertainty import covariance, coverage_factor
from annot.vocabulary import MEASURANDS
from tests.strategies import caliper, catheter_scale, echo_header, header, paths, region, view
from tests.unit.exports.conftest import entry_of

GOLDEN = Path(__file__).parents[2] / "golden" / "table-header.csv"
SHARES = [name for name in GOLDEN.read_text().strip().split(",") if name.startswith("share_")]


def test_columns_are_those_of_the_contract_in_its_order():
    """The header line is a contract with every reader of these tables."""
    assert [column.name for column in COLUMNS] == GOLDEN.read_text().strip().split(",")


def test_every_column_says_what_it_means_and_stands_once():
    assert len({column.name for column in COLUMNS}) == len(COLUMNS)
    assert all(column.meaning for column in COLUMNS)
    for column in COLUMNS:
        if column.name.endswith(("_deg", "_ms")):
            assert column.unit == column.name.rsplit("_", 1)[1]


def test_a_row_has_every_column_in_order(entries):
    for row in rows_of(entries):
        assert list(row) == [column.name for column in COLUMNS]


def test_every_length_has_unit_uncertainty_scale_frame_and_image(entries):
    for row in rows_of(entries):
        assert row["unit"] in {"mm", "px"}
        assert row["u"] > 0
        assert row["low"] < row["value"] < row["high"]
        assert row["coverage"] == 0.95
        assert row["method"] == "first order"
        assert (row["scale_id"] is None) == (row["unit"] == "px")
        assert (row["scale_kind"] == "none") == (row["unit"] == "px")
        assert (row["mm_per_px_row"] is None) == (row["unit"] == "px")
        assert row["sop_instance_uid"]
        assert row["dicom_frame"] == row["frame"] + 1
        assert row["reader"]
        assert row["caliper_id"]
        assert row["software_version"]
        assert row["quantity"] in MEASURANDS


def test_shares_add_up_to_one(entries):
    for row in rows_of(entries):
        assert sum(row[name] for name in SHARES) == pytest.approx(1.0, abs=1e-12)
        assert all(type(row[name]) is float for name in SHARES)


@given(paths(least_px=20))
def test_the_table_alone_rebuilds_the_uncertainty_and_the_scale_part_of_it(path):
    one = caliper(measurand=MEASURANDS["distance"], points=path)
    row = measurement_row(entry_of(one, catheter_scale(), header()))
    from_scale = row["share_scale"] + row["share_object"] + row["share_depth"]
    drawn = row["method"] == "monte carlo"
    # drawn from a t, the scale's trace of 15 degrees of freedom spreads wider than its u
    assert math.sqrt(from_scale) * row["u"] == pytest.approx(
        row["u_scale_rel"] * row["value"], rel=0.08 if drawn else 1e-6
    )
    half = (row["high"] - row["low"]) / 2
    assert half / row["u"] >= coverage_factor(math.inf) * (0.95 if drawn else 1 - 1e-12)


def test_cells_of_an_xray_row(xray_entry):
    row = measurement_row(xray_entry)
    expected = {
        "study": "S01",
        "loop": "xa.dcm",
        "modality": "XA",
        "primary_deg": -30.0,
        "secondary_deg": -20.0,
        "frame": 3,
        "dicom_frame": 4,
        "time_ms": pytest.approx(3 * 66.7),
        "beat": None,
        "moment": None,
        "quantity": "landing_zone_width",
        "view_deg": None,
        "repeat": 1,
        "unit": "mm",
        "value": pytest.approx(100 * 2 / 12.4),
        "raw_value": pytest.approx(100 * 2 / 12.4),
        "mm_per_px_row": pytest.approx(2 / 12.4),
        "scale_kind": "catheter",
        "scale_id": "catheter-a",
        "object_id": "catheter-2",
        "depth_group": "catheter-a:depth",
        "share_tilt": 0.0,
        "conditions": (
            "loading: not stated; rhythm: not stated; filling: not stated; moment: not stated; "
            "atrial pressure: not stated"
        ),
        "origin": "drawn",
        "confirmed": True,
        "overruled": "",
        "protocol": "closure-planning",
        "caliper_id": "lz1",
    }
    assert {name: row[name] for name in expected} == expected


def test_cells_of_an_echo_row(echo_entry):
    row = measurement_row(echo_entry)
    assert (row["loop"], row["modality"], row["scale_kind"]) == ("sub/us.dcm", "US", "header")
    assert row["view_deg"] == 45.0  # the plane that the read states
    assert row["primary_deg"] is row["secondary_deg"] is None
    assert row["object_id"] is row["depth_group"] is None
    assert row["share_depth"] == 0.0
    assert row["share_tilt"] > 0
    assert row["value"] < row["raw_value"]  # an oblique plane sees a width long
    assert row["mm_per_px_column"] / row["mm_per_px_row"] == pytest.approx(0.5 / 0.4)
    assert row["conditions"].startswith("loading: 12 mmHg; rhythm: sinus; filling: not stated")


def test_cells_of_a_row_without_a_scale(unscaled_entry):
    row = measurement_row(unscaled_entry)
    assert (row["unit"], row["scale_kind"], row["overruled"]) == ("px", "none", "")
    for name in ("scale_id", "object_id", "depth_group", "u_scale_rel", "mm_per_px_column"):
        assert row[name] is None
    assert "no scale, so the length is in pixels: the read states no scale" in row["warnings"]
    assert "not confirmed by a person" in row["warnings"]
    assert row["confirmed"] is False


def test_angles_of_the_read_replace_the_files():
    loop = LoopRead(file="xa.dcm", view=ViewOverride(primary_deg=45.0))
    row = measurement_row(entry_of(caliper(), catheter_scale(), header(), loop=loop))
    assert (row["primary_deg"], row["secondary_deg"]) == (45.0, -20.0)


def test_angles_follow_the_frame_where_the_stand_moves():
    """PS3.3 C.8.7.5: one increment is the change per frame."""
    moving = view(positioner_motion="DYNAMIC", primary_increments_deg=(2.0,))
    row = measurement_row(entry_of(caliper(), catheter_scale(), header(xray=moving)))
    assert row["primary_deg"] == pytest.approx(-30 + 3 * 2)


def test_a_callipers_own_direction_goes_before_the_plane(echo_entry):
    own = dataclasses.replace(echo_entry.measurement.caliper, view_deg=90.0)
    measured = measure_caliper(own, echo_entry.measurement.scale, modality="US")
    assert measurement_row(dataclasses.replace(echo_entry, measurement=measured))["view_deg"] == 90


def test_a_loop_without_times_has_none():
    from annot.loops.timing import FrameTimes

    silent = header(frame_times=FrameTimes(times_ms=None, source="none"))
    assert measurement_row(entry_of(caliper(), catheter_scale(), silent))["time_ms"] is None


def test_overruling_stands_in_its_own_column_and_among_the_warnings():
    scale = catheter_scale(overruled="phantom says so")
    row = measurement_row(entry_of(caliper(), scale, header()))
    assert row["overruled"] == "phantom says so"
    assert "scale overruled: phantom says so" in row["warnings"]


def test_rows_under_one_scale_share_its_keys_and_others_do_not():
    rows = [
        measurement_row(entry_of(caliper(key=key), catheter_scale(key=scale), header()))
        for key, scale in (("a", "s1"), ("b", "s1"), ("c", "s2"))
    ]
    assert rows[0]["scale_id"] == rows[1]["scale_id"] != rows[2]["scale_id"]
    assert rows[0]["depth_group"] == rows[1]["depth_group"] != rows[2]["depth_group"]
    assert len({row["object_id"] for row in rows}) == 1


def echo_entry_of(uid, first_row, *, known):
    """Return an entry of one loop of a study on one machine."""
    its = echo_header(region(), sop_instance_uid=uid, system="machine-1")
    points = (PixelPoint(first_row, 150.0), PixelPoint(first_row + 60.0, 170.0))
    one = caliper(key=uid, measurand=MEASURANDS["distance"], points=points)
    scale = header_scale(its, HeaderRequest()).at(points)
    group = speed_group(its)
    beam = Beam(apex=PixelPoint(10.0, 150.0), speed_group=group, source=f"apex of {uid}")
    return entry_of(one, scale, its, known=Known(beam=beam) if known else None)


def test_the_table_alone_rebuilds_the_covariance_of_a_study_s_echo_loops():
    pair = [echo_entry_of(uid, row, known=True) for uid, row in (("1.2.1", 60.0), ("1.2.2", 90.0))]
    rows = parse_table(csv_text(rows_of(pair)), name="t.csv")
    assert rows[0].speed_group == rows[1].speed_group != ""
    assert rows[0].scale_id != rows[1].scale_id
    assert min(row.share_speed for row in rows) > 0.1
    core = covariance(*(one.measurement.result for one in pair))
    rebuilt = cross_covariance([seen_length(rows[0])], [seen_length(rows[1])])[0, 0]
    assert rebuilt == pytest.approx(core, rel=1e-6)
    # the machine's spacing alone is less than that
    parts = [row.u * math.sqrt(row.share_system) for row in rows]
    assert parts[0] * parts[1] < 0.7 * core


def test_where_no_speed_acts_there_is_no_group():
    blind = measurement_row(echo_entry_of("1.2.3", 60.0, known=False))
    assert (blind["speed_group"], blind["share_speed"]) == (None, 0.0)


def test_no_identity_and_no_path_of_this_machine_in_a_row(entries):
    for row in rows_of(entries):
        texts = " ".join(str(cell) for cell in row.values())
        assert "/work" not in texts
        assert str(Path.home()) not in texts


def test_the_fingerprint_of_the_defaults_changes_with_them(monkeypatch):
    from annot.measurement import placement

    before = protocol_hash()
    assert before == protocol_hash()
    assert len(before) == 12
    other = dataclasses.replace(placement.END_PX, value=2.0)
    monkeypatch.setattr(placement, "END_PX", other)
    assert protocol_hash() != before
