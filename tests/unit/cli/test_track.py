"""`annot track` and `annot measure --refine` as a person runs them."""

import csv
import json

import pytest
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import AnnotError, InputError
from annot.exports.table_file import read_table
from synthetic_dicom import write_case


@pytest.fixture(scope="module")
def loop(tmp_path_factory):
    return write_case("us_090", tmp_path_factory.mktemp("track"), frames=24)


def run(*words):
    return CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=True)


def read_file(loop, **more):
    truth = loop.truth
    points = [list(point) for point in truth.caliper("landing_zone_width", 12).points_px]
    caliper = {
        "id": "z",
        "quantity": "landing_zone_width",
        "frame": 12,
        "points_px": points,
        "tilt_deg": 0,
    }
    part = {"file": loop.path.name, "scale": {"kind": "header"}, "calipers": [caliper | more]}
    path = loop.path.parent / "read.json"
    path.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "S", "loops": [part]}))
    return path


def test_a_caliper_of_a_read_file_is_followed_and_written(loop, tmp_path):
    curve, picture = tmp_path / "curve.csv", tmp_path / "curve.png"
    done = run("track", read_file(loop), "--id", "z", "-o", curve, "--picture", picture, "--json")
    assert done.exit_code == 0, done.output
    answer = json.loads(done.stdout)
    true = [loop.truth.caliper("landing_zone_width", n).value_mm for n in range(24)]
    assert answer["largest"]["low"] <= max(true) <= answer["largest"]["high"]
    assert answer["smallest"]["low"] <= min(true) <= answer["smallest"]["high"]
    assert {row["unit"] for row in answer["curve"]} == {"mm"}
    origins = {row["frame"]: (row["origin"], row["confirmed"]) for row in answer["curve"]}
    assert origins[12] == ("drawn", True)
    assert origins[13] == ("tracked", False)
    assert any("until a person has confirmed" in text for text in answer["warnings"])
    with curve.open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [int(row["frame"]) for row in rows] == [row["frame"] for row in answer["curve"]]
    one = rows[0]
    assert (one["study"], one["reader"], one["loop"]) == ("S", "A", loop.path.name)
    assert one["scale_kind"] == "header"
    assert one["scale_id"].startswith("header-")
    assert float(one["mm_per_px_row"]) > 0
    shares = [float(cell) for name, cell in one.items() if name.startswith("share_")]
    assert sum(shares) == pytest.approx(1.0)
    assert picture.read_bytes().startswith(b"\x89PNG")
    # the same words give the same numbers
    assert json.loads(run("track", read_file(loop), "--id", "z", "--json").stdout) == answer


def test_a_curve_replaces_an_older_curve_and_never_a_measurement_table(loop, tmp_path):
    read, curve, table = read_file(loop), tmp_path / "curve.csv", tmp_path / "table.csv"
    assert run("measure", read, "-o", table).exit_code == 0
    before = table.read_bytes()
    for _ in range(2):
        assert run("track", read, "--id", "z", "-o", curve).exit_code == 0
    for words in (("track", read, "--id", "z", "-o", table), ("measure", read, "-o", curve)):
        done = run(*words)
        assert isinstance(done.exception, InputError)
        assert "holds something else" in done.exception.message
    assert table.read_bytes() == before
    with pytest.raises(InputError, match="curve of one tracked caliper"):
        read_table(curve)


def test_a_change_is_known_better_than_a_width(loop):
    answer = json.loads(run("track", read_file(loop), "--id", "z", "--json").stdout)
    by_hand = 100 * (answer["largest"]["value"] / answer["smallest"]["value"] - 1)
    assert answer["change"]["value"] == pytest.approx(by_hand, rel=1e-6)
    apart = 100 * (answer["largest"]["u"] / answer["largest"]["value"]) * 2**0.5
    assert answer["change"]["u"] < 0.8 * apart


def test_a_line_on_a_loop_is_followed_under_the_header_s_scale(loop):
    (r0, c0), (r1, c1) = loop.truth.caliper("landing_zone_width", 12).points_px
    done = run("track", loop.path, "--caliper", f"{r0},{c0},{r1},{c1}", "--frame", 12)
    assert done.exit_code == 0, done.output
    assert "Largest and smallest" in done.stdout
    assert "Not a medical device" in done.stdout


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({"id": "other"}, "holds no caliper z; its calipers are other"),
        (
            {"quantity": "neck_angle", "points_px": [[100, 300], [150, 300], [200, 330]]},
            "only lengths are followed",
        ),
        ({"frame": 60}, "frame 60"),
    ],
)
def test_what_cannot_be_followed_is_refused_in_one_sentence(loop, more, words):
    done = run("track", read_file(loop, **more), "--id", "z")
    assert isinstance(done.exception, AnnotError)
    assert words in done.exception.message


def test_one_way_of_naming_the_caliper(loop):
    assert run("track", loop.path).exit_code == 2
    assert run("track", loop.path, "--caliper", "1,2,3").exit_code == 2


def test_refine_lists_shifts_and_changes_nothing(loop, tmp_path):
    path = read_file(loop)
    before = path.read_bytes()
    answer = json.loads(run("measure", path, "--refine", "--json").stdout)
    assert [one["end"] for one in answer] == [0, 1]
    assert all(abs(one["shift_px"]) < 4 and one["u_px"] > 0 for one in answer)
    assert path.read_bytes() == before
    assert run("measure", path, "--refine", "-o", tmp_path / "t.csv").exit_code == 2
    assert "nothing is changed" in run("measure", path, "--refine").stdout


def test_a_contour_gives_four_rows_and_the_stated_apex_is_taken(loop):
    (r0, c0), (r1, c1) = loop.truth.caliper("landing_zone_width", 12).points_px
    middle, half = ((r0 + r1) / 2, (c0 + c1) / 2), abs(c1 - c0) / 2
    ring = [[middle[0] + half * y, middle[1] + half * x] for y, x in RING]
    path = read_file(loop, quantity="landing_zone_contour", points_px=ring)
    content = json.loads(path.read_text())
    content["loops"][0]["apex_px"] = [20.0, 319.5]
    path.write_text(json.dumps(content))
    rows = json.loads(run("measure", path, "--json").stdout)
    assert [(row["quantity"], row["unit"]) for row in rows] == [
        ("landing_zone_area", "mm2"),
        ("landing_zone_perimeter", "mm"),
        ("landing_zone_area_diameter", "mm"),
        ("landing_zone_perimeter_diameter", "mm"),
    ]
    assert {row["caliper_id"] for row in rows} == {"z"}
    assert rows[3]["value"] >= rows[2]["value"]


RING = [
    (1, 0),
    (0.71, 0.71),
    (0, 1),
    (-0.71, 0.71),
    (-1, 0),
    (-0.71, -0.71),
    (0, -1),
    (0.71, -0.71),
]


def test_repeats_of_the_reader_reach_the_table(loop):
    path = read_file(loop)
    content = json.loads(path.read_text())
    one = content["loops"][0]["calipers"][0]
    repeats = []
    for n, off in enumerate((0.0, 0.8, -0.9, 0.3, -0.4, 1.1)):
        (r0, c0), end = one["points_px"]
        repeats.append(one | {"id": f"z{n}", "repeat": n + 1, "points_px": [[r0, c0 + off], end]})
    content["loops"][0]["calipers"] = repeats
    path.write_text(json.dumps(content))
    rows = json.loads(run("measure", path, "--json").stdout)
    plain = json.loads(run("measure", read_file(loop), "--json").stdout)[0]
    # a hand that scatters by less than the default has smaller intervals
    assert all(row["u"] < plain["u"] for row in rows)


def test_an_unknown_quantity_on_a_loop_is_refused(loop):
    done = run("track", loop.path, "--caliper", "1,2,30,40", "--quantity", "girth")
    assert isinstance(done.exception, InputError)
    assert "no quantity 'girth'" in done.exception.message


def test_repeats_on_other_loops_count_for_a_curve_as_they_do_for_the_table(tmp_path):
    """One hand scatters alike on all loops of a read: both commands state the same u."""
    loops = [write_case(name, tmp_path, frames=10) for name in ("us_090", "us_045")]
    parts = []
    for loop, shifts in zip(loops, ((0.0,), (0.0, 2.5, -2.0, 1.5, -3.0, 2.0)), strict=True):
        (r0, c0), end = loop.truth.caliper("landing_zone_width", 5).points_px
        calipers = [
            {
                "id": f"{loop.path.stem}-{n}",
                "quantity": "landing_zone_width",
                "frame": 5,
                "repeat": n + 1,
                "points_px": [[r0, c0 + off], list(end)],
            }
            for n, off in enumerate(shifts)
        ]
        parts.append({"file": loop.path.name, "scale": {"kind": "header"}, "calipers": calipers})
    path = tmp_path / "read.json"
    path.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "S", "loops": parts}))
    [first, *_] = json.loads(run("measure", path, "--json").stdout)
    curve = json.loads(run("track", path, "--id", "us_090-0", "--json").stdout)["curve"]
    [own] = [row for row in curve if row["frame"] == 5]
    assert own["u"] == pytest.approx(first["u"], rel=1e-9)


def test_the_largest_of_a_tilted_depth_has_the_interval_of_its_frames(loop):
    """An unknown tilt of 50° skews every depth of the curve, and its largest alike."""
    points = [list(point) for point in loop.truth.caliper("depth", 12).points_px]
    path = read_file(loop, quantity="depth", points_px=points, tilt_deg=50)
    answer = json.loads(run("track", path, "--id", "z", "--json").stdout)
    row = max(answer["curve"], key=lambda one: one["value"])
    for one in (row, answer["largest"]):
        assert one["high"] - one["value"] > 1.5 * (one["value"] - one["low"])
