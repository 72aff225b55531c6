"""Charts of a room: phase I, limits recorded, phase II; a seeded drift; the page of a room."""

import json
from dataclasses import replace
from datetime import date, timedelta
from html.parser import HTMLParser

import numpy as np
import pytest
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import InputError
from annot.quality.judgement import judged
from annot.tasks.check.chart import ChartName, record_baseline, room_chart, run_length_words
from annot.tasks.check.reference import Reference, Room
from annot.tasks.check.register import Check, register_at
from annot.tasks.check.report import write_report
from annot.uncertainty import Tolerance, propagate, stated

NAME = ChartName(room="lab", quantity="scale_deviation ball")
START = date(2024, 1, 1)


def value(number, readings=()):
    one = stated(number, 0.2, key="x", unit="%", source="test")
    return judged(
        propagate(lambda x: x, [one], unit="%"),
        quantity="scale_deviation",
        target="ball",
        limits=Tolerance(low=-3, high=3),
        readings=readings,
    )


def filled(path, values):
    register = register_at(str(path))
    register.enter(Room(name="lab", modality="XA", every_days=30, note="<b>north</b>"), by="QA")
    register.enter(Reference(name="ball", kind="sphere", size_mm=10, tolerance_mm=0.01), by="QA")
    add(register, values)
    return register


def add(register, values, start=0):
    rng = np.random.default_rng(9)
    for number, one in enumerate(values, start=start):
        readings = tuple((one + rng.normal(0, 0.05, 3)).tolist())
        register.add_check(
            Check(
                key="",
                room="lab",
                taken=START + timedelta(days=30 * number),
                objects=("ball",),
                loops=(),
                as_found=(value(one, readings),),
            ),
            by="QA",
        )


@pytest.fixture
def register(tmp_path):
    return filled(tmp_path / "qa.db", np.random.default_rng(5).normal(0.2, 0.3, 24).tolist())


def test_without_limits_a_chart_is_phase_one_and_says_so(register):
    found = room_chart(register, NAME)
    assert found.limits is None
    assert found.facts()[0]["phase"] == "I"
    assert "no limits are recorded" in found.note
    assert len(found.points) == 24
    # looking at it records nothing
    assert register.limits("lab", NAME.limits_key) is None


def test_recorded_limits_stand_while_a_drift_grows(register):
    limits = record_baseline(register, NAME, by="QA")
    for count in range(1, 7):
        add(register, [0.2 + 0.35 * count], start=23 + count)
        found = room_chart(register, NAME)
        assert found.limits == limits
        assert len(found.points) == count
    assert any(one.signals for one in found.charts)
    for kind in ("weighted", "sums"):
        charts = room_chart(register, ChartName(room="lab", quantity=NAME.quantity, kind=kind))
        assert any(one.signals for one in charts.charts)
        assert charts.limits == limits


def test_a_correction_of_the_baseline_is_told_and_moves_nothing(register):
    limits = record_baseline(register, NAME, by="QA")
    first = register.checks("lab")[0]
    register.change_check(replace(first, as_found=(value(9.0),)), by="QA", reason="wrong ball")
    found = room_chart(register, NAME)
    assert found.limits == limits
    assert "1 of 24 baseline checks" in found.note


def test_limits_of_readings_are_kept_apart(register):
    means = ChartName(room="lab", quantity=NAME.quantity, kind="mean")
    record_baseline(register, means, by="QA")
    assert room_chart(register, NAME).limits is None
    grouped = room_chart(register, means)
    assert grouped.limits is not None
    assert grouped.limits.size == 3


def test_what_to_expect_of_the_limits_is_told_with_its_range(register):
    record_baseline(register, NAME, by="QA")
    add(register, [0.2], start=24)
    words = run_length_words(room_chart(register, NAME))
    assert words.startswith("Limits from 24 checks: a false alarm about once in ")
    assert "in 8 of 10 rooms" in words


@pytest.mark.parametrize(
    ("name", "words"),
    [
        (ChartName(room="lab", quantity="x"), "there is: scale_deviation ball"),
        (ChartName(room="y", quantity="x"), "no room y"),
    ],
)
def test_an_unknown_chart_is_refused(register, name, words):
    with pytest.raises(InputError, match=words):
        room_chart(register, name)
    with pytest.raises(InputError, match="no chart 'pie'"):
        ChartName(room="lab", quantity="x", kind="pie")


# ---------------------------------------------------------------- the command
def told(*arguments):
    answer = CliRunner().invoke(app, ["check", "chart", *map(str, arguments)])
    if answer.exception:
        raise answer.exception
    return answer.stdout


def test_the_answer_has_the_agreed_keys(register, tmp_path):
    where = ("--store", tmp_path / "qa.db", "--room", "lab")
    assert json.loads(told(*where, "--json"))["phase"] == "I"
    told(*where, "--set-limits", "--by", "QA")
    nothing = json.loads(told(*where, "--json"))
    assert (nothing["phase"], nothing["points"]) == ("II", [])
    assert nothing["centre"] == pytest.approx(0.2, abs=0.2)
    assert "no check since the limits were set" in told(*where)
    add(register, [5.0], start=24)
    answer = json.loads(told(*where, "--json"))
    assert {"chart", "centre", "lower", "upper", "points", "signals"} <= set(answer)
    assert {"rule": "beyond a limit", "point": 0} in answer["signals"]
    both = json.loads(told(*where, "--chart", "sums", "--json"))
    assert [one["chart"] for one in both] == ["upper sums", "lower sums"]
    assert "beyond a limit" in told(*where, "--picture", tmp_path / "chart.png")
    assert (tmp_path / "chart.png").read_bytes().startswith(b"\x89PNG")
    with pytest.raises(InputError, match="--reason"):
        told(*where, "--set-limits", "--by", "QA")
    with pytest.raises(InputError, match="give --reason"):
        told(*where, "--set-limits", "--by", "QA", "--leave-out", "x")


# ---------------------------------------------------------------- the page
class Page(HTMLParser):
    def __init__(self):
        super().__init__()
        self.sources, self.open, self.text = [], [], ""

    def handle_starttag(self, tag, attributes):
        named = dict(attributes)
        self.sources += [value for key, value in named.items() if key in {"src", "href"}]
        if tag not in {"meta", "img", "link"}:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.text += data


def test_a_page_is_whole_escaped_and_asks_the_network_for_nothing(register, tmp_path):
    record_baseline(register, NAME, by="QA")
    add(register, [0.1, 5.0], start=24)
    page, beside = write_report(register, "lab", tmp_path / "lab.html", today=date(2026, 4, 1))
    parsed = Page()
    parsed.feed(page.read_text(encoding="utf-8"))
    assert parsed.open == []
    assert parsed.sources
    assert all(one.startswith("data:image/svg+xml;base64,") for one in parsed.sources)
    assert "<b>north</b>" in parsed.text
    assert "found fail, left fail" in parsed.text
    assert "Out of control at the last check: scale deviation ball." in parsed.text
    assert "speaks first at lab 2026-01-20 #1 (beyond a limit), at 1 of 2 checks" in parsed.text
    facts = json.loads(beside.read_text(encoding="utf-8"))
    assert len(facts["checks"]) == 26
    assert [one["chart"] for one in facts["charts"]][:2] == ["individuals", "weighted means"]
    assert facts["due"][0]["name"] == "lab"


def test_a_page_of_a_room_without_checks_and_a_foreign_file(tmp_path):
    register = filled(tmp_path / "qa.db", [])
    page, _ = write_report(register, "lab", tmp_path / "lab.html", today=date(2026, 4, 1))
    assert "Never checked." in page.read_text(encoding="utf-8")
    (tmp_path / "mine.html").write_text("mine")
    with pytest.raises(InputError, match="something else"):
        write_report(register, "lab", tmp_path / "mine.html", today=date(2026, 4, 1))
    assert (tmp_path / "mine.html").read_text() == "mine"
