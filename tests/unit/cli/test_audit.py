"""`annot audit` on a store of two studies, whole and tampered with."""

import json
from datetime import UTC, datetime

import pytest
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import InputError
from annot.store import Intent, Record, connect

RUN = CliRunner()


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "lab.db"
    store = connect(str(path))
    for study in ("HARBOUR-01", "HARBOUR-02"):
        record = Record(study=study, kind="reading", key="lz1", body={"mm": 21.4})
        at = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)
        store.append(Intent(record=record, token="1", actor="R1", at=at))
        again = Record(study=study, kind="reading", key="lz1", body={"mm": 22.0})
        why = "wrong frame"
        store.append(
            Intent(record=again, token="2", actor="lab", at=at, reason=why, seen_version=1)
        )
    store.close()
    return path


def tamper(file, deed):
    import sqlite3

    with sqlite3.connect(file) as raw:
        for name in ("update", "delete"):
            raw.execute(f"DROP TRIGGER events_no_{name}")
        raw.execute(deed)
    raw.close()


def test_whole_chains_are_said_to_hold(file):
    answer = RUN.invoke(app, ["audit", "verify", str(file)])
    assert answer.exit_code == 0
    assert "Study HARBOUR-01: 2 events, the chain holds." in answer.output
    assert "lost its end" in answer.output


def test_an_altered_event_is_named_and_the_command_fails(file):
    tamper(file, "UPDATE events SET body = '{\"mm\":20.0}' WHERE study = 'HARBOUR-02'")
    answer = RUN.invoke(app, ["audit", "verify", str(file), "--json"])
    assert isinstance(answer.exception, InputError)
    first, second = json.loads(answer.output)
    assert first["holds"]
    assert not second["holds"]
    assert "event 1 was altered" in second["fault"]


def test_anchors_show_an_end_that_was_cut_off(file, tmp_path):
    heads = tmp_path / "heads.json"
    assert RUN.invoke(app, ["audit", "anchor", str(file), "-o", str(heads)]).exit_code == 0
    tamper(file, "DELETE FROM events WHERE study = 'HARBOUR-01' AND sequence = 2")
    assert RUN.invoke(app, ["audit", "verify", str(file)]).exit_code == 0
    answer = RUN.invoke(app, ["audit", "verify", str(file), "--anchors", str(heads)])
    assert "an anchor saw event 2" in answer.output
    assert isinstance(answer.exception, InputError)


def test_a_study_that_vanished_whole_is_missed_by_its_anchor(file, tmp_path):
    heads = tmp_path / "heads.json"
    RUN.invoke(app, ["audit", "anchor", str(file), "-o", str(heads)])
    tamper(file, "DELETE FROM events WHERE study = 'HARBOUR-01'")
    answer = RUN.invoke(app, ["audit", "verify", str(file), "--anchors", str(heads)])
    assert "Study HARBOUR-01: the chain ends at event 0" in answer.output


def test_no_anchor_is_written_of_a_chain_that_does_not_hold(file, tmp_path):
    tamper(file, "UPDATE events SET actor = 'X'")
    heads = tmp_path / "heads.json"
    answer = RUN.invoke(app, ["audit", "anchor", str(file), "-o", str(heads)])
    assert "No anchor is written" in str(answer.exception)
    assert not heads.exists()


def test_events_are_told_in_words(file):
    answer = RUN.invoke(app, ["audit", "show", str(file), "--study", "HARBOUR-01"])
    assert "R1 entered reading lz1" in answer.output
    assert "lab changed to version 2 reading lz1, because: wrong frame" in answer.output


@pytest.mark.parametrize("verb", [["verify"], ["show"]])
def test_a_study_that_the_store_does_not_have_is_no_chain_that_holds(file, verb):
    answer = RUN.invoke(app, ["audit", *verb, str(file), "--study", "HARBOR-01"])
    assert isinstance(answer.exception, InputError)
    assert "no study HARBOR-01: it has HARBOUR-01, HARBOUR-02" in str(answer.exception)


def test_an_event_that_is_no_longer_readable_is_a_fault_and_no_traceback(file):
    tamper(file, "UPDATE events SET body = '{' WHERE study = 'HARBOUR-01'")
    answer = RUN.invoke(app, ["audit", "show", str(file), "--study", "HARBOUR-01"])
    assert isinstance(answer.exception, InputError)
    assert "no longer readable" in str(answer.exception)


@pytest.mark.parametrize("form", ["{}", "sqlite:///{}", "sqlite+pysqlite:///{}", "sqlite://"])
def test_a_check_never_makes_a_store(tmp_path, form):
    missing = tmp_path / "none.db"
    answer = RUN.invoke(app, ["audit", "verify", form.format(missing)])
    assert "no such store" in str(answer.exception)
    assert not missing.exists()


HEAD = '{"annot_anchors": 1, "heads": [{"study": %s, "sequence": %s, "digest": "0"}]}'


@pytest.mark.parametrize(
    "text",
    [
        *("", "{}", '{"annot_anchors": 2}', '{"annot_anchors": 1}'),
        *(HEAD % ("5", "1"), HEAD % ('"S"', "3.7"), HEAD % ('"S"', "true")),
    ],
)
def test_a_file_that_holds_no_anchors_is_refused(file, tmp_path, text):
    heads = tmp_path / "heads.json"
    heads.write_text(text)
    answer = RUN.invoke(app, ["audit", "verify", str(file), "--anchors", str(heads)])
    assert isinstance(answer.exception, InputError)
    assert "heads.json" in str(answer.exception)


def test_a_chain_is_carried_to_another_store_and_refused_if_it_was_touched(file, tmp_path):
    chain, other = tmp_path / "chain.jsonl", tmp_path / "other.db"
    words = ["audit", "export", str(file), "--study", "HARBOUR-01", "-o", str(chain)]
    assert "2 events of study HARBOUR-01" in RUN.invoke(app, words).output
    for _ in range(2):
        taken = RUN.invoke(app, ["audit", "import", str(other), str(chain)])
        assert "holds 2 events of study HARBOUR-01" in taken.output
    show = ["audit", "show", str(other), "--study", "HARBOUR-01"]
    assert RUN.invoke(app, show).output == RUN.invoke(app, [*show[:2], str(file), *show[3:]]).output
    chain.write_text(chain.read_text().replace("22.0", "23.0"))
    third = tmp_path / "third.db"
    answer = RUN.invoke(app, ["audit", "import", str(third), str(chain)])
    assert "event 2 was altered" in str(answer.exception)
    assert "holds no study" in RUN.invoke(app, ["audit", "verify", str(third)]).output


def test_a_broken_chain_is_not_carried_on(file, tmp_path):
    tamper(file, "UPDATE events SET actor = 'X' WHERE sequence = 1")
    chain = tmp_path / "chain.jsonl"
    words = ["audit", "export", str(file), "--study", "HARBOUR-02", "-o", str(chain)]
    assert "event 1 was altered" in str(RUN.invoke(app, words).exception)
    assert not chain.exists()
    assert "no study NONE" in str(RUN.invoke(app, [*words[:4], "NONE", *words[5:]]).exception)
    assert "cannot be read" in str(
        RUN.invoke(app, ["audit", "import", str(tmp_path / "n.db"), str(chain)]).exception
    )
