"""`annot reads` from signing to the frozen table, as a laboratory types it."""

import csv
import json

import pytest
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import InputError
from tests.blinded_study import drawn, make_lab, write_read

RUN = CliRunner()


def said(*words):
    answer = RUN.invoke(app, [str(one) for one in words])
    assert answer.exit_code == 0, answer.output + str(answer.exception)
    return answer.output


@pytest.fixture(scope="module")
def lab(tmp_path_factory):
    made = make_lab(tmp_path_factory.mktemp("lab"), planes=1, share=0)
    for reader in ("A", "B"):
        made.package(reader)
    return made


def test_from_signing_to_the_frozen_table(lab, tmp_path):
    codes = read_and_collect(lab)
    settle(lab, codes["B"], tmp_path)
    close(lab, tmp_path)


def read_and_collect(lab):
    codes = {}
    early = said("reads", "remeasure", lab.folder, "--reason", "too early")
    assert "No signed read was collected yet" in early
    for reader, longer in (("A", 0.0), ("B", 20.0)):
        package = lab.packages / reader
        assert "open" in said("reads", "sign", package)
        [showing] = json.loads(said("reads", "sign", package, "--json"))
        codes[reader] = showing["code"]
        write_read(package, showing["code"], drawn(showing["code"], longer_px=longer))
        signed = said("reads", "sign", package, showing["code"], "--reader", reader)
        assert "I measured this. It is closed now." in signed
        assert "I measured this" in said("reads", "sign", package, "--json")
        new = said("reads", "collect", lab.folder, package, "--by", "lab")
        assert "1 of 1 showings of reader" in new
        assert "1 readings entered" in new
    assert "collected before" in said("reads", "collect", lab.folder, package)
    twice = json.loads(said("reads", "collect", lab.folder, package, "--json"))
    assert twice["fresh"] == twice["readings_entered"] == 0
    return codes


def settle(lab, code, tmp_path):
    [case] = json.loads(said("reads", "adjudicate", lab.folder, "--json"))["apart"]
    assert case["why"].startswith("A and B are 4.1")
    assert "1 cases, 0 measured by one reader alone; in 1" in said("reads", "status", lab.folder)
    assert "1 new showings for C" in said("reads", "adjudicate", lab.folder, "--to", "C")
    assert "No new showings for C" in said("reads", "adjudicate", lab.folder, "--to", "C")

    content = (lab.packages / "B" / f"{code}.read.json").read_text()
    better = tmp_path / "better.json"
    better.write_text(content.replace("230.0", "239.0").replace("370.0", "361.0"))
    words = ("reads", "amend", lab.folder, code, "--read", better, "--reason", "a slip")
    assert "1 readings superseded" in said(*words)
    assert "Reader A: 0 readings superseded" in said(
        "reads", "remeasure", lab.folder, "--reason", "to be sure"
    )
    status = json.loads(said("reads", "status", lab.folder, "--json"))
    assert [one["amended"] for one in status["readers"]] == [0, 1, 0]


def close(lab, tmp_path):
    table, final = tmp_path / "readings.csv", tmp_path / "final.csv"
    assert "Table of 2 readings" in said("reads", "export", lab.folder, "-o", table)
    with table.open(newline="", encoding="utf-8") as stream:
        rows = {row["reader"]: row for row in csv.DictReader(stream)}
    assert rows["B"]["read_version"] == "2"
    answer = RUN.invoke(app, ["reads", "freeze", str(lab.folder), "-o", str(final)])
    assert isinstance(answer.exception, InputError)
    assert "1 of 3 showings were not collected (readers C)" in str(answer.exception)
    frozen = said(
        "reads", "freeze", lab.folder, "-o", final, "--in-spite", "C left", "--by", "head"
    )
    assert "Left open: 1 of 3 showings" in frozen
    assert "Frozen by head" in said("reads", "status", lab.folder)
    told = said("audit", "show", lab.folder / "study.sqlite", "--study", "HARBOUR")
    assert "head entered freeze HARBOUR" in told
    assert "because: a slip" in told
    assert "signed by A at 20" in told
    assert ": I measured this" in told
    assert f"; {float(rows['A']['value']):.2f} ± " in told


def test_what_is_at_fault_is_said_in_a_sentence(lab, tmp_path):
    for words, sentence in {
        ("sign", lab.packages / "A", "X"): "Say who signs: --reader A.",
        ("collect", lab.folder, tmp_path): "no reader's package",
        ("status", tmp_path): "is no study",
    }.items():
        answer = RUN.invoke(app, ["reads", *(str(one) for one in words)])
        assert isinstance(answer.exception, InputError)
        assert sentence in str(answer.exception)
