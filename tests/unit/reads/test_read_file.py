"""The read file: what is taken, what is refused and in which words."""

import copy
import json
import math
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings

from annot.errors import InputError
from annot.reads import dump, file_of, json_schema, load, parse, parse_request, read_of
from annot.reads.object_parts import part_of, request_of
from tests.strategies import reads, scale_requests

NAME = "read.json"
TRACE = [[120.0, 80.0], [260.0, 95.0]]
CATHETER = {"kind": "catheter", "size_mm": 2.0, "axis_px": TRACE}
SPHERE = {"kind": "sphere", "diameter_mm": 10.0, "centre_px": [100.0, 90.0], "radius_px": 20.0}
MARKERS = {"kind": "markers", "spacing_mm": 10.0, "path_px": TRACE}
GRID = {"kind": "grid", "spacing_mm": 10.0, "corners_px": [*TRACE, [200.0, 80.0], [190.0, 70.0]]}
SEGMENT = {"kind": "segment", "length_mm": 20.0, "points_px": TRACE}
CALIPER = {
    "id": "lz1",
    "quantity": "landing_zone_width",
    "frame": 40,
    "points_px": [[200.0, 150.0], [215.5, 231.2]],
}
# the format's own example
EXAMPLE = {
    "annot_read": 1,
    "reader": "A",
    "protocol": "closure-planning",
    "study": "S01",
    "loops": [
        {
            "file": "xa.dcm",
            "sop_instance_uid": "1.2.3",
            "conditions": {"loading": "not stated", "rhythm": "not stated"},
            "scale": {
                "kind": "catheter",
                "size_mm": 2.0,
                "tolerance_mm": 0.03,
                "surface": "outer",
                "filling": "unknown",
                "frame": 0,
                "axis_px": TRACE,
                "depth_offset_mm": 20,
            },
            "calipers": [{**CALIPER, "view_deg": 45, "repeat": 1}],
        }
    ],
}


def changed(*path, to):
    document = copy.deepcopy(EXAMPLE)
    place = document
    for step in path[:-1]:
        place = place[step]
    if to is ...:
        del place[path[-1]]
    else:
        place[path[-1]] = to
    return document


def with_scale(fields):
    return changed("loops", 0, "scale", to=fields)


def with_caliper(**fields):
    return changed("loops", 0, "calipers", 0, to={**CALIPER, **fields})


def refused(document) -> str:
    text = document if isinstance(document, str) else json.dumps(document)
    with pytest.raises(InputError) as caught:
        read_of(parse(text, name=NAME), name=NAME)
    assert caught.value.message.startswith(NAME)
    assert "\n" not in caught.value.message
    return caught.value.message


def taken(document):
    return read_of(parse(json.dumps(document), name=NAME), name=NAME)


# ---------------------------------------------------------------- laws
@given(reads())
@settings(max_examples=80)
def test_a_read_survives_the_way_through_its_file(read):
    text = dump(file_of(read))
    assert read_of(parse(text, name=NAME), name=NAME) == read
    assert dump(file_of(read_of(parse(text, name=NAME), name=NAME))) == text


@given(reads())
def test_every_file_written_fits_its_own_schema(read):
    jsonschema.Draft202012Validator(json_schema()).validate(json.loads(dump(file_of(read))))


@given(scale_requests)
def test_a_scale_request_survives_the_way_through_its_fields(request):
    part = part_of(request)
    fields = part.model_dump(mode="json", by_alias=True, exclude_defaults=True)
    assert request_of(part) == parse_request(fields, name="screen") == request


def test_the_schema_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(json_schema())


# ---------------------------------------------------------------- taken
def test_the_formats_own_example_is_taken():
    read = taken(EXAMPLE)
    (loop,) = read.loops
    assert (read.reader, read.study, loop.file) == ("A", "S01", "xa.dcm")
    assert loop.scale.size.tolerance_mm == 0.03
    assert loop.scale.placing.depth_offset_mm == 20
    (caliper,) = loop.calipers
    assert caliper.frame.frame == 40
    assert caliper.frame.sop_instance_uid == "1.2.3"
    assert caliper.points[1] == (215.5, 231.2)


def test_required_fields_alone_are_enough():
    document = {"annot_read": 1, "reader": "A", "loops": [{"file": "x", "calipers": [CALIPER]}]}
    (loop,) = taken(document).loops
    assert loop.scale is None
    assert loop.conditions.loading == loop.conditions.rhythm == "not stated"
    assert loop.calipers[0].repeat == 1


def test_a_frame_written_as_40_point_0_is_frame_40():
    frame = taken(with_caliper(frame=40.0)).loops[0].calipers[0].frame.frame
    assert frame == 40
    assert type(frame) is int


def test_a_label_gets_its_rounding_and_a_stated_tolerance_does_not():
    label = taken(with_scale(CATHETER)).loops[0].scale.size
    assert (label.source, label.quantity().value) == ("label", pytest.approx(1.95))
    french = taken(with_scale({"kind": "catheter", "size_fr": 6, "axis_px": TRACE}))
    assert french.loops[0].scale.size.quantity().value == pytest.approx(1.95)
    stated = taken(with_scale({**CATHETER, "tolerance_mm": 0.03})).loops[0].scale.size
    assert (stated.source, stated.quantity().value) == ("measured", 2.0)
    measured = taken(with_scale({**CATHETER, "size_source": "measured"})).loops[0].scale.size
    assert (measured.source, measured.tolerance_mm) == ("measured", 0.05)


def test_one_number_is_both_sides_of_a_pixel_and_two_are_row_and_column():
    one = taken(with_scale({"kind": "given", "mm_per_px": 0.2, "u_rel": 0.01}))
    two = taken(with_scale({"kind": "given", "mm_per_px": [0.2, 0.3], "u_rel": 0.01}))
    assert one.loops[0].scale.mm_per_px == (0.2, 0.2)
    assert two.loops[0].scale.mm_per_px == (0.2, 0.3)


SHEATH = {"kind": "catheter", "device": "sheath", "axis_px": TRACE}


@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"size_fr": 12}, "a sheath's French size names its inside"),
        ({"size_fr": 12, "surface": "outer", "tolerance_mm": 0.1}, "names its inside"),
        ({"size_mm": 4.7, "tolerance_mm": 0.1}, "say which surface it is"),
        ({"size_mm": 4.7, "surface": "outer"}, "needs its source"),
        ({"size_mm": 4.7, "surface": "outer", "size_source": "label"}, "needs its source"),
    ],
)
def test_a_sheath_by_its_label_is_refused_since_the_label_names_its_inside(fields, words):
    """Typed as 12F = 4.0 mm for an outside of 4.7 mm, every length would shrink by 15 %."""
    with pytest.raises(InputError, match=words):
        parse_request({**SHEATH, **fields}, name="screen")


def test_a_sheath_by_its_measured_outside_is_taken():
    taken = parse_request(
        {**SHEATH, "size_mm": 4.7, "surface": "outer", "tolerance_mm": 0.05}, name="screen"
    )
    assert (taken.device, taken.size.name) == ("sheath", "sheath")
    assert taken.size.quantity().value == 4.7


def test_a_sheaths_label_is_its_inside_rounded_down():
    """ISO 11070:2014, 7.2: so the true one lies up to 0.1 mm above it."""
    fields = {"size_mm": 4.0, "surface": "inner", "size_source": "label"}
    quantity = parse_request({**SHEATH, **fields}, name="screen").size.quantity()
    assert quantity.value == pytest.approx(4.05)
    assert "0.05 mm is added" in quantity.source


def test_the_labels_rounding_is_a_line_that_can_be_switched_off():
    fields = {"kind": "catheter", "size_fr": 6, "axis_px": TRACE}
    label = parse_request(fields, name="screen").size.quantity()
    measured = parse_request({**fields, "size_source": "measured"}, name="screen").size.quantity()
    assert (label.value, measured.value) == (pytest.approx(1.95), pytest.approx(2.0))
    assert "rounded up to 0.1 mm" in label.source


def test_two_objects_of_one_size_are_two_where_they_have_names():
    def identity(**fields):
        return parse_request({**MARKERS, "tolerance_mm": 0.1, **fields}, name="s").size.object_id

    assert identity() == identity()
    assert identity(object="wire 1") == identity(object=" wire 1 ")
    assert len({identity(), identity(object="wire 1"), identity(object="wire 2")}) == 3
    # a tolerance that nobody stated is another input than the same one stated
    assert identity(tolerance_mm=None) != identity(tolerance_mm=0.1)


def test_marks_at_a_spacing_carry_their_count_and_tilt():
    taken = parse_request({**MARKERS, "bands": 5, "tilt_deg": 10, "material": "gold"}, name="s")
    assert (taken.kind, taken.count, taken.placing.tilt_deg) == ("markers", 5, 10.0)
    assert taken.size.tolerance_mm == pytest.approx(0.1)
    assert taken.size.assumed
    assert taken.material == "gold"


def test_readings_are_looks_in_several_frames():
    fields = {
        "kind": "catheter",
        "size_mm": 2.0,
        "readings": [{"frame": 3, "axis_px": TRACE}, {"frame": 7, "axis_px": TRACE}],
    }
    assert [one.frame for one in taken(with_scale(fields)).loops[0].scale.readings] == [3, 7]


# ---------------------------------------------------------------- refused for structure
STRUCTURE = {
    "an unknown field": changed("colour", to="red"),
    "an unknown field of a loop": changed("loops", 0, "fps", to=15),
    "an unknown field of a caliper": with_caliper(colour="red"),
    "an unknown field of a scale": with_scale({**CATHETER, "lenght": 2}),
    "an unknown field of the conditions": changed("loops", 0, "conditions", to={"bp": "120/80"}),
    "no reader": changed("reader", to=...),
    "an empty reader": changed("reader", to=""),
    "no loops": changed("loops", to=...),
    "loops that are no list": changed("loops", to={}),
    "no file": changed("loops", 0, "file", to=...),
    "no id": changed("loops", 0, "calipers", 0, "id", to=...),
    "no quantity": changed("loops", 0, "calipers", 0, "quantity", to=...),
    "no frame": changed("loops", 0, "calipers", 0, "frame", to=...),
    "no points": changed("loops", 0, "calipers", 0, "points_px", to=...),
    "one point": with_caliper(points_px=[[1.0, 2.0]]),
    "a point of three numbers": with_caliper(points_px=[[1, 2, 3], [4, 5]]),
    "a number as text": with_caliper(u_end_mm="0.3"),
    "a number as truth": with_caliper(u_end_mm=True),
    "a coordinate as text": with_caliper(points_px=[["1", 2], [3, 40]]),
    "a frame as text": with_caliper(frame="3"),
    "a frame as truth": with_caliper(frame=True),
    "half a frame": with_caliper(frame=3.5),
    "a frame before the first": with_caliper(frame=-1),
    "repeat 0": with_caliper(repeat=0),
    "truth as a number": with_caliper(confirmed=1),
    "truth as text": with_caliper(confirmed="yes"),
    "a negative end": with_caliper(u_end_px=-1),
    "an end of nothing": with_caliper(u_end_px=0),
    "a view of half a turn": with_caliper(view_deg=180),
    "a tilt beyond 60": with_caliper(tilt_deg=61),
    "an origin nobody knows": with_caliper(origin="guessed"),
    "a size of nothing": with_scale({**CATHETER, "size_mm": 0}),
    "a negative tolerance": with_scale({**CATHETER, "tolerance_mm": -0.1}),
    "a negative depth": with_scale({**CATHETER, "depth_offset_mm": -1}),
    "a surface nobody knows": with_scale({**CATHETER, "surface": "middle"}),
    "a filling nobody knows": with_scale({**CATHETER, "filling": "blood"}),
    "a kind nobody knows": with_scale({"kind": "ruler"}),
    "no kind": with_scale({}),
    "a scale that is a word": with_scale("header"),
    "a scale that is a list": with_scale([]),
    "a given scale without its uncertainty": with_scale({"kind": "given", "mm_per_px": 0.2}),
    "a given scale of nothing": with_scale({"kind": "given", "mm_per_px": 0, "u_rel": 0.1}),
    "a given scale that vanishes": with_scale({"kind": "given", "mm_per_px": 1e-300, "u_rel": 0.1}),
    "a percentage for a fraction": with_scale({"kind": "given", "mm_per_px": 0.2, "u_rel": 5}),
    "a header scale without error": with_scale({"kind": "header", "u_rel": 1e-300}),
    "an apex beyond all pictures": changed("loops", 0, "apex_px", to=[1e308, 0.0]),
    "a loan from nobody": with_scale({"from": ""}),
    "a loan with a size": with_scale({"from": "a.dcm", "kind": "given"}),
    "a sphere with a label": with_scale({**SPHERE, "size_source": "label"}),
    "a plane beyond half a turn": changed("loops", 0, "view", to={"plane_deg": 200}),
    "an angle beyond a turn": changed("loops", 0, "view", to={"primary_deg": 190}),
    "no readings at all": with_scale({"kind": "catheter", "size_mm": 2, "readings": []}),
}


@pytest.mark.parametrize("what", STRUCTURE)
def test_structure_is_refused_by_parse_and_schema_alike(what):
    document = STRUCTURE[what]
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(json_schema()).validate(document)
    refused(document)


@pytest.mark.parametrize(
    "document",
    [
        EXAMPLE,
        with_caliper(frame=40.0),
        with_scale(CATHETER),
        with_scale(SPHERE),
        with_scale(SEGMENT),
        with_scale({"kind": "header"}),
        with_scale({"kind": "given", "mm_per_px": [0.2, 0.3], "u_rel": 0.01}),
        with_scale({"from": "other.dcm", "overrule": "same geometry by the log"}),
        changed("loops", to=[]),
        changed("loops", 0, "scale", to=None),
    ],
)
def test_structure_is_taken_by_parse_and_schema_alike(document):
    jsonschema.Draft202012Validator(json_schema()).validate(document)
    taken(document)


def test_a_refusal_names_the_place_of_every_fault():
    message = refused(with_caliper(frame=-1, repeat=0, view_deg=500))
    for place in ("frame", "repeat", "view_deg"):
        assert f"loops.0.calipers.0.{place}: " in message


def test_half_a_pair_of_escapes_is_refused_before_anything_is_written():
    text = json.dumps({**EXAMPLE, "study": "S"}).replace('"study": "S"', '"study": "\\ud800"')
    with pytest.raises(InputError, match=r"escape such as .ud800 that is no character"):
        parse(text, name="r.json")


# ---------------------------------------------------------------- refused for meaning
@pytest.mark.parametrize(
    ("fields", "words"),
    [
        ({"kind": "catheter", "axis_px": TRACE}, "give either size_fr or size_mm"),
        ({**CATHETER, "size_fr": 6}, "give either size_fr or size_mm"),
        ({"kind": "catheter", "size_mm": 2}, "the object's trace is missing: a catheter needs"),
        ({**CATHETER, "surface": "inner"}, "an inner diameter is given in mm with its tolerance"),
        (
            {"kind": "catheter", "size_fr": 6, "surface": "inner", "tolerance_mm": 0.1,
             "axis_px": TRACE},
            "an inner diameter is given in mm",
        ),
        (
            {**CATHETER, "size_source": "label", "tolerance_mm": 0.01},
            "a label's tolerance is its own rounding",
        ),
        (
            {**CATHETER, "readings": [{"axis_px": TRACE}]},
            "give either 'readings' or one frame and trace",
        ),
        (
            {"kind": "catheter", "size_mm": 2, "frame": 7, "readings": [{"axis_px": TRACE}]},
            "give either 'readings' or one frame and trace",
        ),
        ({**SEGMENT, "axis_px": TRACE}, "a segment needs points_px, its two ends, and no other"),
        ({**SPHERE, "axis_px": TRACE}, "a sphere needs centre_px and radius_px"),
        ({**CATHETER, "centre_px": [1, 2]}, "a catheter needs axis_px"),
        ({**CATHETER, "radius_px": 3}, "a catheter needs axis_px"),
        (
            {"kind": "sphere", "diameter_mm": 10, "centre_px": [1, 2]},
            "a sphere needs centre_px and radius_px as a first guess",
        ),
        (
            {"kind": "sphere", "diameter_mm": 10, "readings": [{"points_px": TRACE}]},
            "a sphere needs centre_px and radius_px",
        ),
        ({"kind": "ruler"}, 'or is borrowed by {"from": FILE}'),
        ({**CATHETER, "other_mm": 3.0}, "inner diameter (3 mm) is not smaller"),
        ({**CATHETER, "size_mm": 0.05}, "A catheter of 0.05 mm is no size"),
        ({**CATHETER, "tolerance_mm": 2.5}, "A tolerance of ±2.5 mm does not fit"),
        ({**MARKERS, "axis_px": TRACE}, "markers need path_px, two or more points"),
        ({**MARKERS, "bands": 1}, "greater than or equal to 2"),
        ({**MARKERS, "size_source": "label"}, "input should be 'measured'"),
        ({**GRID, "corners_px": TRACE}, "at least 4 items"),
        ({"kind": "grid", "spacing_mm": 10, "path_px": TRACE}, "its four outermost nodes"),
        ({"kind": "step", "spacing_mm": 5, "corners_px": [*TRACE, *TRACE]}, "square to them"),
        ({**MARKERS, "spacing_mm": 0}, "greater than 0"),
    ],
)  # fmt: skip
def test_a_scale_that_contradicts_itself_is_refused(fields, words):
    assert words in refused(with_scale(fields))
    with pytest.raises(InputError, match=r"^screen: "):
        parse_request(fields, name="screen")


def test_an_unknown_quantity_names_the_known_ones():
    message = refused(with_caliper(quantity="neck_length"))
    assert "caliper lz1 asks for the quantity 'neck_length'" in message.lower()
    assert "landing_zone_width" in message


def test_calipers_that_cannot_be_are_refused_with_file_and_id():
    assert "Caliper lz1" in refused(with_caliper(points_px=[[1, 2], [1, 2]]))
    assert "Caliper lz1" in refused(with_caliper(u_end_px=1, u_end_mm=1))


def test_an_id_stands_once_in_the_whole_read():
    document = changed("loops", to=[{"file": f, "calipers": [CALIPER]} for f in ("a", "b")])
    assert "caliper ids must be unique, but lz1 repeat" in refused(document)


def test_a_loop_stands_once_in_a_read():
    """Its second scale would rule the first one's calipers."""
    document = changed("loops", to=[{"file": "a.dcm"}, {"file": "a.dcm"}])
    assert "each loop stands once in a read, but a.dcm repeat" in refused(document)


# ---------------------------------------------------------------- refused as text
@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("{", "is not JSON: "),
        ("[]", 'it has no "annot_read" number'),
        ("{}", 'it has no "annot_read" number'),
        ('{"annot_read": 2}', "version 2; this program reads version 1"),
        ('{"annot_read": true, "reader": "A", "loops": []}', "version True"),
        ('{"annot_read": "1", "reader": "A", "loops": []}', "version '1'"),
        ('{"annot_read": 1, "reader": "A", "reader": "B", "loops": []}', "'reader' twice"),
        ("[" * 100_000, "nests too deeply"),
        ('{"annot_read": 1, "n": ' + "9" * 5000 + "}", "too many digits"),
    ],
    ids=range(10),
)
def test_text_that_is_no_read_is_refused_in_one_sentence(text, words):
    assert words in refused(text)


@pytest.mark.parametrize("bad", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_numbers_that_are_none_are_refused_wherever_they_stand(bad):
    for document in (
        with_caliper(points_px=[[1, 2], ["BAD", 40]]),
        with_caliper(u_end_mm="BAD"),
        with_scale({**CATHETER, "size_mm": "BAD"}),
    ):
        refused(json.dumps(document).replace('"BAD"', bad))


# ---------------------------------------------------------------- files
def test_a_file_is_loaded_by_its_path(tmp_path):
    path = tmp_path / "r.json"
    path.write_text(json.dumps(EXAMPLE), encoding="utf-8")
    assert load(path).reader == "A"


def test_a_file_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"the read file cannot be opened: No such file"):
        load(tmp_path / "none.json")
    with pytest.raises(InputError, match="cannot be opened"):
        load(tmp_path)


def test_bytes_that_are_no_text_are_refused(tmp_path):
    path = tmp_path / "r.json"
    path.write_bytes(b"\xff\xfe\x00DICM")
    with pytest.raises(InputError, match=r"r.json is not a read file: it is not text in UTF-8"):
        load(path)


def test_what_says_nothing_is_left_out_of_the_file():
    text = dump(parse(json.dumps(EXAMPLE), name=NAME))
    assert "conditions" not in text
    assert "repeat" not in text
    assert json.loads(text)["loops"][0]["calipers"][0]["view_deg"] == 45


def test_the_oldest_read_file_still_loads():
    """A file of version 1 as first written; it must stay readable."""
    path = Path(__file__).parents[2] / "golden" / "read-1.json"
    read = read_of(load(path), name=path.name)
    assert [loop.file for loop in read.loops] == ["xa.dcm", "xa-caudal.dcm", "us-045.dcm"]
    assert [one.key for loop in read.loops for one in loop.calipers] == ["lz1", "d1", "os1", "os2"]
    assert dump(file_of(read)) == path.read_text(encoding="utf-8")
    assert all(math.isfinite(one.length_px) for loop in read.loops for one in loop.calipers)
