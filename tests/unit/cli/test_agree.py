"""`annot agree` on tables of two readers whose figures are known from elsewhere."""

import csv
import json

import numpy as np
import pytest
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import InputError

RUN = CliRunner()
# a made-up pair of readers; the figures below were computed once with other code
FIRST = [18.2, 21.5, 24.0, 19.8, 26.3, 22.7, 20.4, 28.1, 23.5, 25.0]
SECOND = [19.0, 21.1, 25.2, 20.9, 26.0, 24.1, 20.2, 29.6, 23.9, 26.2]
HEADS = ("study", "quantity", "reader", "value", "unit", "u", "loop", "repeat", "modality")


def write(path, rows):
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, HEADS)
        writer.writeheader()
        for row in rows:
            plain = {"unit": "mm", "u": 0.5, "loop": "xa.dcm", "repeat": 1, "modality": "XA"}
            writer.writerow({**plain, "quantity": "ostium_width", **row})
    return path


def two_readers(path):
    rows = [
        {"study": f"S{case}", "reader": reader, "value": value}
        for reader, values in (("A", FIRST), ("B", SECOND))
        for case, value in enumerate(values)
    ]
    return write(path, rows)


def answer(*words):
    done = RUN.invoke(app, ["agree", *map(str, words), "--json"], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return json.loads(done.output)


def test_two_readers_of_ten_cases(tmp_path):
    [found] = answer(two_readers(tmp_path / "t.csv"))
    assert (found["first"], found["second"], found["n"]) == ("A", "B", 10)
    assert found["bias"]["value"] == pytest.approx(-0.670)
    assert found["sd"] == pytest.approx(0.7379, abs=5e-5)
    assert found["limits_low"]["value"] == pytest.approx(-2.116, abs=5e-4)
    assert found["limits_high"]["value"] == pytest.approx(0.776, abs=5e-4)
    assert found["icc"]["2,1"]["value"] == pytest.approx(0.9545, abs=5e-5)
    assert found["icc"]["3,1"]["value"] == pytest.approx(0.9731, abs=5e-5)
    assert found["multiplier"] == 1.96
    assert found["within_subject_sd"] == {}


def test_readers_who_agree_worse_than_by_chance_have_null_for_a_correlation_of_means(tmp_path):
    pairs = [(1, 3), (3, 1), (2, 2.2), (1.5, 2.6), (2.9, 1.2), (1.7, 2.5), (2.3, 1.6), (2, 2.1)]
    rows = [
        {"study": f"S{case}", "reader": reader, "value": value}
        for case, pair in enumerate(pairs)
        for reader, value in zip("AB", pair, strict=True)
    ]
    [found] = answer(write(tmp_path / "t.csv", rows))
    assert found["icc"]["2,k"]["value"] is None
    assert found["icc"]["2,1"]["value"] < 0


def test_repeats_give_each_reader_a_repeatability_and_widen_the_limits(tmp_path):
    rng = np.random.default_rng(1)
    rows = [
        {"study": f"S{case}", "reader": reader, "repeat": repeat, "value": 20 + case + noise}
        for case in range(12)
        for reader in "AB"
        for repeat, noise in enumerate(rng.normal(0, 0.5, 2), start=1)
    ]
    table = write(tmp_path / "t.csv", rows)
    [found] = answer(table)
    assert found["n"] == 12
    for reader in "AB":
        spread = found["within_subject_sd"][reader]
        assert spread["low"] < 0.5 < spread["high"]
        assert found["repeatability_coefficient"][reader]["value"] == pytest.approx(
            1.96 * np.sqrt(2) * spread["value"]
        )
    means = np.array([[r["value"] for r in rows if r["reader"] == reader] for reader in "AB"])
    of_means = np.std(np.diff(means.reshape(2, 12, 2).mean(axis=2), axis=0), ddof=1)
    assert found["sd"] > of_means
    by_repeat = answer(table, "--by", "repeat")
    assert [(one["first"], one["second"]) for one in by_repeat] == [
        ("A, reading 1", "A, reading 2"),
        ("B, reading 1", "B, reading 2"),
    ]


def test_modalities_are_compared_within_a_study_with_a_caution(tmp_path):
    rows = [
        {"study": f"S{case}", "reader": "A", "modality": modality, "loop": modality, "value": value}
        for modality, values in (("US", FIRST), ("XA", SECOND))
        for case, value in enumerate(values)
    ]
    [found] = answer(write(tmp_path / "t.csv", rows), "--by", "modality")
    assert found["bias"]["value"] == pytest.approx(-0.670)
    assert any("not an error by itself" in text for text in found["warnings"])


def test_cases_that_one_side_lacks_are_counted_and_left_out(tmp_path):
    table = two_readers(tmp_path / "t.csv")
    lines = table.read_text().splitlines()
    table.write_text("\n".join(lines[:-2]) + "\n")
    [found] = answer(table)
    assert (found["n"], found["left_out"]) == (8, 2)


def test_the_printed_page_names_statistics_and_the_caution(tmp_path):
    picture = tmp_path / "agree.png"
    done = RUN.invoke(
        app, ["agree", str(two_readers(tmp_path / "t.csv")), "--picture", str(picture)]
    )
    assert done.exit_code == 0
    for words in ("ostium width: A − B, 10 cases", "lower limit, −1.96 SD", "absolute agreement"):
        assert words in done.output
    assert picture.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        (["--by", "hospital"], "not by 'hospital'"),
        (["--quantity", "depth"], "has no 'depth'; it has ostium_width"),
        (["--by", "repeat"], "No two sides share 4 cases by repeat"),
    ],
)
def test_what_cannot_be_compared_is_said(tmp_path, words, fault):
    done = RUN.invoke(app, ["agree", str(two_readers(tmp_path / "t.csv")), *words])
    assert isinstance(done.exception, InputError)
    assert fault in done.exception.message


def test_rows_without_a_scale_are_left_out_and_counted(tmp_path):
    table = two_readers(tmp_path / "t.csv")
    with table.open("a") as file:
        file.write("S99,ostium_width,A,140,px,2,xa.dcm,1,XA\n")
    [found] = answer(table)
    assert found["n"] == 10
    assert "1 of 21 rows have no scale and are left out" in found["warnings"]


def test_two_units_of_one_quantity_are_not_compared(tmp_path):
    rows = [
        {"study": f"S{case}", "reader": reader, "value": 20 + case, "unit": unit}
        for reader, unit in (("A", "mm"), ("B", "deg"))
        for case in range(5)
    ]
    done = RUN.invoke(app, ["agree", str(write(tmp_path / "t.csv", rows))])
    assert "deg and mm" in done.exception.message


def test_views_of_one_heart_are_not_taken_for_hearts(tmp_path):
    rows = [
        {"study": "S1", "reader": reader, "loop": f"us_{case}.dcm", "value": value}
        for reader, values in (("A", FIRST), ("B", SECOND))
        for case, value in enumerate(values)
    ]
    [found] = answer(write(tmp_path / "t.csv", rows))
    assert any("10 cases are views or moments of 1 study" in text for text in found["warnings"])
