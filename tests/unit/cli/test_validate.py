"""`annot validate`: studies run, go on, draw, and say their verdicts in words and in JSON."""

import json

import pytest
from typer.testing import CliRunner

from annot.cli.main import app
from annot.tasks.rehearse import READING

ARMS = {"ends jittered", "ends found"}


def run(*words):
    return CliRunner().invoke(app, ["validate", *map(str, words)], env={"COLUMNS": "200"})


@pytest.fixture(scope="module")
def two_scales(tmp_path_factory):
    folder = tmp_path_factory.mktemp("study")
    words = ["scale", "--cases", 2, "--workers", 1, "--journal", folder / "cases.jsonl"]
    return folder, words, run(*words, "--plots", folder / "plots", "--json")


def test_a_study_prints_cells_bars_and_what_was_drawn(two_scales):
    _, _, done = two_scales
    assert (done.exit_code, done.stderr) == (0, "")
    answer = json.loads(done.stdout)
    assert (answer["study"], answer["cases"], answer["seed"]) == ("scale-catheter", 2, 1)
    assert {"asked", "seen", "met", "verdict"} <= set(answer["bars"][0])
    assert answer["cells"][0]["quantity"] == "scale"
    assert answer["cells"][0]["trials"] == 2
    assert "wall" in answer["drawn"]
    assert all(path.endswith(".png") for path in answer["pictures"])


def test_pictures_are_written_where_asked(two_scales):
    folder, _, _ = two_scales
    pictures = sorted(path.name for path in (folder / "plots").iterdir())
    assert pictures == [
        "scale-catheter-as-modelled-coverage.png",
        "scale-catheter-as-modelled-errors.png",
    ]


def test_a_journal_is_gone_on_from_and_gives_the_same_words(two_scales):
    folder, words, done = two_scales
    before = (folder / "cases.jsonl").read_bytes()
    again = run(*words, "--json")
    assert (folder / "cases.jsonl").read_bytes() == before
    first, second = json.loads(done.stdout), json.loads(again.stdout)
    assert {**first, "pictures": []} == second


def test_for_a_person_verdicts_and_cautions_stand_below(two_scales):
    _, words, _ = two_scales
    said = run(*words).stdout
    assert "cannot be told" in said
    assert "no cell of 400 or more below 90 % beyond chance" in said
    assert "stated distributions hold" in " ".join(said.split())


def test_a_case_alone_is_the_case_of_the_study(two_scales):
    folder, _, _ = two_scales
    lines = (folder / "cases.jsonl").read_text().splitlines()[1:]
    kept = {json.loads(line)["case"]: json.loads(line)["trials"] for line in lines}
    alone = run("scale", "--case", 1, "--json")
    assert json.loads(alone.stdout)["trials"] == kept[1]
    assert "case 1" in run("scale", "--case", 1).stdout


def test_a_reading_is_shown_beside_its_truth():
    done = run("reading", "--case", 1, "--json")
    assert done.exit_code == 0
    trials = json.loads(done.stdout)["trials"]
    assert {one["arm"] for one in trials} == ARMS
    assert all(one["true"] > 5 for one in trials)
    assert READING.name == json.loads(done.stdout)["study"]


def test_a_kind_that_is_not_there_is_wrong_usage():
    done = run("scale", "--kind", "brick")
    assert done.exit_code == 2
    assert "catheter" in done.stderr


def test_a_journal_of_something_else_is_one_sentence_and_left_alone(tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("study,loop\n")
    done = run("scale", "--cases", 1, "--workers", 1, "--journal", path)
    assert done.exit_code == 1
    assert "is no journal of a study" in str(done.exception)
    assert path.read_text() == "study,loop\n"
