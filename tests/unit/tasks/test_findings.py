"""What follows from a read as it stands is what the exported table gives."""

from dataclasses import replace

import pytest

from annot.calibration import HeaderRequest
from annot.geometry import PixelPoint
from annot.loops import open_loop
from annot.measurement import Caliper
from annot.reads import LoopRead, Read
from annot.reads.read import ViewOverride
from annot.sizing import parse_chart
from annot.tasks.calibrate import make_scale
from annot.tasks.export import write_table
from annot.tasks.findings import findings_of
from annot.tasks.measure import Beams, entries_of, measure_live
from annot.tasks.plots import PLOTS, Paper, plot_of
from annot.tasks.section import load_rows, section_facts, sections_of
from annot.tasks.sizes import answers_of
from annot.vocabulary import MEASURANDS, FrameReference
from synthetic_dicom import write_case

PLANES = {0: "us_000", 45: "us_045", 90: "us_090", 135: "us_135"}
CHART = parse_chart(
    "label,nominal_mm,width_from_mm,width_to_mm\nM,24,18,22\nL,28,22,26\n", name="chart.csv"
)


@pytest.fixture(scope="module")
def four_planes(tmp_path_factory):
    """A read of two widths in four echo planes on rendered loops, at their true ends."""
    folder = tmp_path_factory.mktemp("planes")
    parts, loops = [], {}
    for plane, case in PLANES.items():
        written = write_case(case, folder, frames=2)
        loops[written.path.name] = open_loop(written.path)
        parts.append(
            LoopRead(
                file=written.path.name,
                scale=HeaderRequest(),
                view=ViewOverride(plane_deg=plane),
                calipers=tuple(
                    Caliper(
                        key=f"{case}-{name}",
                        measurand=MEASURANDS[name],
                        frame=FrameReference(sop_instance_uid="", frame=0),
                        points=tuple(
                            PixelPoint(*one) for one in written.truth.caliper(name, 0).points_px
                        ),
                    )
                    for name in ("ostium_width", "landing_zone_width")
                ),
            )
        )
    read = Read(reader="R7", study="S", loops=tuple(parts))
    scales = {one.file: make_scale(loops[one.file], one.scale).scale for one in parts}
    return read, loops, scales


def test_sections_and_sizes_are_those_of_the_exported_table(four_planes, tmp_path):
    read, loops, scales = four_planes
    found = findings_of(read, loops, scales, beams=Beams(), chart=CHART)
    write_table(entries_of(read, loops, scales, beams=Beams()), tmp_path / "t.csv")
    rows = load_rows(tmp_path / "t.csv")
    assert list(map(section_facts, found.sections)) == list(map(section_facts, sections_of(rows)))
    assert [one.facts() for one in found.sizes] == [one.facts() for one in answers_of(rows, CHART)]
    assert len(found.sections) == 2
    assert all(one.fit is not None for one in found.sections)


def test_an_answer_that_was_kept_is_not_worked_out_again(four_planes):
    read, loops, scales = four_planes
    asked = []

    def measure(caliper, scale, header, *, known=None):
        asked.append(caliper.key)
        return measure_live(caliper, scale, header, known=known)

    findings_of(read, loops, scales, beams=Beams(), measure=measure)
    assert len(asked) == 8


def test_a_read_without_a_name_or_a_number_has_findings_too(four_planes):
    read, loops, scales = four_planes
    nameless = replace(read, reader="", study=None)
    found = findings_of(nameless, loops, scales, beams=Beams(), chart=CHART)
    assert {row.reader for row in found.rows} == {"not stated"}
    assert found.read is nameless
    bare = replace(read, loops=tuple(replace(one, calipers=()) for one in read.loops))
    empty = findings_of(bare, loops, scales, beams=Beams(), chart=CHART)
    assert empty.rows == empty.sections == empty.sizes == ()
    assert empty.why_no_sizes == "No width in mm yet to set against the chart."
    assert len(empty.hand_over.missing) > 0


@pytest.mark.parametrize("kind", PLOTS)
@pytest.mark.parametrize("dark", [True, False])
def test_each_plot_is_a_png_of_the_size_asked_for(four_planes, kind, dark):
    from io import BytesIO

    from PIL import Image

    read, loops, scales = four_planes
    found = findings_of(read, loops, scales, beams=Beams())
    paper = Paper(width_px=700, height_px=900, dark=dark)
    png = plot_of(kind, found, selected="us_045-landing_zone_width", paper=paper)
    picture = Image.open(BytesIO(png)).convert("L")
    assert picture.size == (700, 900)
    darkest, lightest = picture.getextrema()
    assert lightest - darkest > 150, "words stand out from their ground"
    assert (picture.getpixel((2, 2)) < 128) is dark


def test_a_plot_that_cannot_be_drawn_says_why(four_planes):
    read, loops, scales = four_planes
    bare = replace(read, loops=tuple(replace(one, calipers=()) for one in read.loops))
    empty = findings_of(bare, loops, scales, beams=Beams())
    paper = Paper(width_px=300, height_px=200)
    said = [plot_of(kind, empty, selected=None, paper=paper) for kind in PLOTS]
    assert all(isinstance(one, str) and one.endswith(".") for one in said)
