"""Readers too far apart: a third is asked blinded, and the protocol's rule gives the last word."""

import csv
import hashlib
import json
import math

import pytest

from annot.errors import InputError
from annot.exports.table_file import read_table
from annot.sizing.chart import ChartRow, SizeChart
from annot.store import FrozenError
from annot.tasks.package_folder import open_package
from annot.tasks.reads_adjudicate import adjudicate, disputes_of
from annot.tasks.reads_amend import Amendment, amend
from annot.tasks.reads_cases import _apart, _third, cases_of
from annot.tasks.reads_collect import collect
from annot.tasks.reads_final import FINAL_TABLE, finals_of
from annot.tasks.reads_freeze import Freezing, freeze
from annot.tasks.reads_key import unblind
from annot.tasks.reads_sign import sign
from annot.tasks.reads_status import status_of
from tests.blinded_study import LAB, drawn, make_lab, read_all, write_read
from tests.unit.study.conftest import copy_of

# px that reader B draws longer than A on the first loop: 120 px are 24.9 mm there
APART_PX = 20.0


def apart_lab(folder, **options):
    """A study whose readers are apart on its first loop."""
    lab = make_lab(folder, share=options.pop("share", 0.5), **options)
    first = lab.study().file.loops[0].fingerprint
    for reader, more in (("A", 0.0), ("B", APART_PX)):
        package = lab.package(reader)
        longer = {one.code: more for one in lab.study().shown_to(reader) if one.loop == first}
        read_all(package, longer)
        collect(lab.study(), package, by=LAB)
    return lab


@pytest.fixture(scope="module")
def apart_once(tmp_path_factory):
    return apart_lab(tmp_path_factory.mktemp("apart"))


@pytest.fixture
def apart(apart_once, tmp_path):
    return copy_of(apart_once, tmp_path)


def answered(lab, longer_px, reader="C"):
    package = lab.package(reader)
    codes = read_all(package, float(longer_px))
    collect(lab.study(), package, by=LAB)
    return codes


def test_only_pairs_beyond_the_limit_go_to_a_third_reader(apart):
    cases = cases_of(apart.study())
    assert [one.key for one in cases] == ["L001/landing_zone_width", "L002/landing_zone_width"]
    one, other = cases
    assert one.why.startswith("A and B are 4.1")
    assert not other.why
    # hidden repeats say something of the reader, not of the case
    assert [[side.reader for side in case.sides] for case in cases] == [["A", "B"]] * 2
    assert sum(bool(shown.repeat_of) for shown in apart.study().presentations) == 2
    asked = adjudicate(apart.study(), third="C", by=LAB)
    assert [showing.loop for showing in asked.showings] == [one.loop]
    assert adjudicate(apart.study(), third="C", by=LAB).showings == ()
    assert status_of(apart.study()).asked == 1
    assert apart.study().file.readers == ("A", "B", "C")


def test_the_third_readers_package_tells_nothing_of_the_dispute(apart):
    adjudicate(apart.study(), third="C", by=LAB)
    package = apart.package("C")
    listed = open_package(package).list
    assert len(listed.presentations) == 1
    text = " ".join(
        path.read_bytes().decode("latin-1") for path in package.iterdir() if path.suffix != ".dcm"
    )
    earlier = [one.code for one in apart.study().presentations if one.reader != "C"]
    for word in ("adjudic: ", "apart_mm: 2", "third", "L001", "24.8", "29.0", *earlier):
        assert word not in text


def test_a_reader_who_knows_the_loop_is_not_asked(apart):
    for third in ("A", "B"):
        with pytest.raises(InputError, match="one of the readers who are apart"):
            adjudicate(apart.study(), third=third, by=LAB)


def test_a_reader_who_is_overruled_is_counted_with_an_exact_interval(apart):
    """The Clopper–Pearson interval of 1 in 2, from scipy's binomial test."""
    from scipy.stats import binomtest

    assert status_of(apart.study()).readers[0].disagreement is None
    adjudicate(apart.study(), third="C", by=LAB)
    answered(apart, 0.0)
    a, b, c = status_of(apart.study()).readers
    assert [(one.overruled, one.judged) for one in (a, b, c)] == [(0, 2), (1, 2), (0, 0)]
    exact = binomtest(1, 2).proportion_ci(method="exact")
    assert (b.disagreement.value, b.disagreement.low, b.disagreement.high) == pytest.approx(
        (50.0, 100 * exact.low, 100 * exact.high)
    )
    assert c.disagreement is None


def test_where_the_third_could_not_read_somebody_else_is_asked(apart, tmp_path):
    adjudicate(apart.study(), third="C", by=LAB)
    package = apart.package("C")
    [shown] = open_package(package).list.presentations
    sign(package, shown.code, reader="C", unreadable="shadow")
    collect(apart.study(), package, by=LAB)
    assert finals_of(apart.study())[0].open
    with pytest.raises(InputError, match="would not be a fresh look"):
        adjudicate(apart.study(), third="C", by=LAB)
    [again] = adjudicate(apart.study(), third="D", by=LAB).showings
    assert again.reader == "D"
    answered(apart, 0.0, reader="D")
    [first, _] = finals_of(apart.study())
    assert [side.reader for side in first.sides] == ["D"]
    # should the first one's answer come to life, it is still nobody of the two who were apart
    content = json.loads((package / f"{shown.code}.read.json").read_text())
    content["loops"][0] |= {"scale": {"kind": "header"}, "calipers": drawn(shown.code)}
    path = tmp_path / "read.json"
    path.write_text(json.dumps(content))
    alive = Amendment(code=shown.code, read=path)
    amend(apart.study(), alive, by=LAB, reason="readable after all")
    [case, _] = cases_of(apart.study())
    assert [side.reader for side in case.sides] == ["A", "B"]
    assert case.third.reader == "D"


def test_the_adjudicators_value_holds_with_its_own_interval(apart, tmp_path):
    adjudicate(apart.study(), third="C", by=LAB)
    assert finals_of(apart.study())[0].open
    codes = answered(apart, APART_PX / 2)
    first, second = finals_of(apart.study())
    assert (first.rule, second.rule) == ("adjudicator", "mean")
    [row] = first.sides[0].rows
    assert [side.code for side in first.sides] == codes
    found = first.consensus.estimate
    assert (found.value, found.low, found.high) == (row.value, row.low, row.high)


@pytest.mark.parametrize("rule", ["mean", "median"])
def test_mean_and_median_keep_what_all_three_share(tmp_path, rule):
    lab = apart_lab(tmp_path, final=rule, planes=1, share=0)
    adjudicate(lab.study(), third="C", by=LAB)
    answered(lab, APART_PX / 2)
    [final] = finals_of(lab.study())
    values = sorted(side.seen.value for side in final.sides)
    expected = values[1] if rule == "median" else math.fsum(values) / 3
    assert final.consensus.estimate.value == pytest.approx(expected)
    # all three scaled by the same header: its share is the same in the mean as in each of them
    for name in ("scale", "system"):
        parts = [
            part
            for side in final.sides
            for key, part in side.seen.shared.items()
            if key.startswith(name)
        ]
        [(_, whole)] = [(k, p) for k, p in final.consensus.shared.items() if k.startswith(name)]
        assert len(parts) == 3
        assert min(parts) <= whole <= max(parts)
    assert final.consensus.spread > 1.5


def chart():
    rows = [("small", 20, 18, 25), ("large", 28, 25, 32)]
    return SizeChart(
        name="invented",
        rows=tuple(
            ChartRow(label=a, nominal_mm=b, width_from_mm=c, width_to_mm=d) for a, b, c, d in rows
        ),
    )


def test_another_row_of_the_chart_is_a_dispute_by_itself(tmp_path, monkeypatch):
    from tests import blinded_study

    by_row = blinded_study.PROTOCOL.replace("{apart_mm: 2,", "{another_size_row: true,")
    monkeypatch.setattr(blinded_study, "PROTOCOL", by_row)
    lab = apart_lab(tmp_path, planes=1, share=0)
    with pytest.raises(InputError, match=r"give the chart"):
        cases_of(lab.study())
    [case] = disputes_of(lab.study(), chart())
    assert case.why == "A and B lie in different size rows (small; large)"
    both = ChartRow(label="wide", nominal_mm=30, width_from_mm=18, width_to_mm=60)
    wide = SizeChart(name="one", rows=(chart().rows[0], both))
    assert len(disputes_of(lab.study(), wide)) == 1
    assert not disputes_of(lab.study(), SizeChart(name="two", rows=wide.rows[1:]))


def test_a_dispute_that_an_amendment_settles_needs_no_third_value(apart, tmp_path):
    adjudicate(apart.study(), third="C", by=LAB)
    study = apart.study()
    code = next(
        one.code
        for one in study.shown_to("B")
        if one.loop == study.file.loops[0].fingerprint and not one.repeat_of
    )
    content = json.loads((apart.packages / "B" / f"{code}.read.json").read_text())
    content["loops"][0]["calipers"][0]["points_px"] = [[200.0, 240.0], [200.0, 360.0]]
    path = tmp_path / "better.json"
    path.write_text(json.dumps(content))
    amend(study, Amendment(code=code, read=path), by=LAB, reason="slip of the hand")
    assert not disputes_of(apart.study())
    assert [one.rule for one in finals_of(apart.study())] == ["mean", "mean"]


def with_moment(lab, reader, words):
    """Sign one reader's package with the moment in the reader's own words."""
    package = lab.package(reader)
    for one in open_package(package).list.presentations:
        longer = APART_PX if reader == "B" else 0.0
        [caliper] = drawn(one.code, longer_px=longer)
        write_read(package, one.code, [caliper | {"moment": words}])
        sign(package, one.code, reader=reader)
    collect(lab.study(), package, by=LAB)


def test_readers_who_spell_a_moment_otherwise_are_compared(tmp_path):
    lab = make_lab(tmp_path, planes=1, share=0)
    with_moment(lab, "A", "End systole")
    with_moment(lab, "B", "end-systole")
    [case] = cases_of(lab.study())
    assert case.key == "L001/landing_zone_width/end_systole"
    assert case.why.startswith("A and B are 4.1")


def test_the_reader_who_was_asked_about_a_case_decides_it(apart):
    """Another reader, asked about another quantity of the loop, also measured this one."""
    adjudicate(apart.study(), third="C", by=LAB)
    answered(apart, 0.0)
    [case] = [one for one in cases_of(apart.study()) if one.why]
    sides = {side.code: side for side in (*case.sides, case.third)}
    other, own = case.sides[0].code, case.third.code
    assert _third(sides, {own}) is case.third
    assert _third({other: sides[other]}, {own}) is None
    assert _third(sides, {other}) is sides[other]


def test_values_as_far_on_either_side_of_zero_are_apart_without_a_share(apart):
    [case, _] = cases_of(apart.study())
    limits = apart.study().protocol.adjudication
    assert _apart(case, (-1.5, 1.5), limits) == "are 3.00 mm apart"


# ------------------------------------------------------------ the end
def test_an_unfinished_study_is_not_frozen_without_a_reason(apart, tmp_path):
    freezing = Freezing(table=tmp_path / "final.csv", by=LAB)
    with pytest.raises(InputError, match=r"L001/landing_zone_width: A and B are .* no third"):
        freeze(apart.study(), freezing)
    assert not freezing.table.exists()
    assert not status_of(apart.study()).frozen
    why = Freezing(table=freezing.table, by=LAB, in_spite="the third reader left")
    done = freeze(apart.study(), why)
    assert (done.rows, len(done.left_open)) == (1, 1)


def test_a_frozen_study_gives_the_same_table_again_and_takes_nothing(apart, tmp_path):
    adjudicate(apart.study(), third="C", by=LAB)
    answered(apart, APART_PX / 2)
    table = tmp_path / "final.csv"
    done = freeze(apart.study(), Freezing(table=table, by=LAB))
    text = table.read_bytes()
    assert hashlib.sha256(text).hexdigest() == done.digest
    report = apart.study().store.verify_chain("HARBOUR")
    assert report.head == done.anchor
    again = freeze(apart.study(), Freezing(table=tmp_path / "again.csv", by="Q"))
    assert (tmp_path / "again.csv").read_bytes() == text
    assert again.anchor == done.anchor
    code = apart.study().shown_to("A")[0].code
    dark = Amendment(code=code, unreadable="late doubt")
    with pytest.raises(FrozenError, match="was frozen by lab"):
        amend(apart.study(), dark, by=LAB, reason="too late")
    assert collect(apart.study(), apart.packages / "A", by=LAB).fresh == 0
    assert status_of(apart.study()).frozen.startswith("lab, ")
    # who looks behind a code after the end is kept, and the frozen head stays where it was
    unblind(apart.folder, [code], apart.ring, by="head", reason="report to the site")
    last = freeze(apart.study(), Freezing(table=tmp_path / "again.csv", by="Q"))
    assert last.anchor == done.anchor
    report = apart.study().store.verify_chain("HARBOUR", anchors=[done.anchor])
    assert report.holds
    assert report.events == done.anchor.sequence + 1


def test_another_version_of_the_program_does_not_pass_its_table_off_as_the_frozen_one(
    apart, tmp_path, monkeypatch
):
    freeze(apart.study(), Freezing(table=tmp_path / "final.csv", by=LAB, in_spite="a test"))
    monkeypatch.setattr("annot.tasks.reads_freeze.version", lambda _: "9.9")
    with pytest.raises(InputError, match="frozen with another table"):
        freeze(apart.study(), Freezing(table=tmp_path / "again.csv", by=LAB))
    assert not (tmp_path / "again.csv").exists()


def test_the_final_table_is_one_that_the_program_reads_back(apart, tmp_path):
    adjudicate(apart.study(), third="C", by=LAB)
    answered(apart, APART_PX / 2)
    table = tmp_path / "final.csv"
    freeze(apart.study(), Freezing(table=table, by=LAB))
    first, second = read_table(table)
    head = table.read_text(encoding="utf-8").splitlines()[0]
    assert head.split(",") == [name for name, _, _ in FINAL_TABLE]
    assert (first.reader, second.reader) == ("C", "A+B")
    assert second.scale_id.startswith("header-")
    assert 0 < second.share_scale < 1
    with table.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert rows[1]["readers"] == "2"
    assert float(rows[1]["reader_sd"]) == 0.0
    assert "stands beside the interval" in rows[1]["warnings"]
    assert rows[0]["apart"].startswith("A and B are")
