"""`annot reads`: from loops to a package by the command line, and what it says on the way."""

import json
from functools import partial
from pathlib import Path

import pytest
from typer.testing import CliRunner

from annot.cli import passphrase
from annot.cli.main import app
from annot.cli.reads_new import code_of
from annot.errors import InputError
from annot.reads.key_file import LEAST_COST
from annot.tasks.reads_key import KeyRing
from synthetic_dicom.cases import write_case

SECRET = "spring tide at nine"


@pytest.fixture(autouse=True)
def cheap(monkeypatch):
    monkeypatch.setattr(passphrase, "KeyRing", partial(KeyRing, cost=LEAST_COST))
    monkeypatch.setenv(passphrase.VARIABLE, SECRET)


@pytest.fixture(scope="module")
def loops(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("loops")
    for name in ("us_grey", "xa_clean"):
        write_case(name, folder, frames=2)
    return folder


@pytest.fixture(scope="module")
def untouched(loops, tmp_path_factory) -> Path:
    """A study that only refusals are tried on."""
    study = tmp_path_factory.mktemp("root") / "harbour"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(passphrase, "KeyRing", partial(KeyRing, cost=LEAST_COST))
        patch.setenv(passphrase.VARIABLE, SECRET)
        ask("reads", "new", study, loops)
    return study


def ask(*words: object) -> str:
    answer = CliRunner().invoke(app, [str(one) for one in words], catch_exceptions=False)
    assert answer.exit_code == 0, answer.output
    return answer.output


def ask_json(*words: object):
    return json.loads(ask(*words, "--json"))


def test_from_loops_to_a_package(loops, tmp_path):
    study, out = tmp_path / "harbour", tmp_path / "package"
    made = ask_json("reads", "new", study, loops, "--by", "keeper")
    assert made["study"] == "harbour"
    assert made["key"] == str(tmp_path / "harbour.key.json")
    assert [Path(one["file"]).name for one in made["loops"]] == ["us_grey.dcm", "xa_clean.dcm"]
    assert len(made["loops"][0]["needs"]) == 2
    said = ask_json(
        *("reads", "prepare", study, "L001", "--plane-deg", 45, "--note", "depth=12 cm"),
        *("--confirm", "--by", "keeper"),
    )
    assert said[0]["needs"] == []
    assert said[0]["facts"] == {"plane_deg": 45.0, "notes": {"depth": "12 cm"}}
    assigned = ask_json("reads", "assign", study, "--readers", "A,B", "--seed", 3)
    assert assigned["seed"] == 3
    assert len(assigned["presentations"]) == 6
    package = ask_json("reads", "package", study, "--reader", "A", "--out", out)
    assert len(package["presentations"]) == 3
    code = package["presentations"][0]["code"]
    (found,) = ask_json("reads", "unblind", study, code, "--reason", "trial")
    assert Path(found["file"]).parent == loops


def test_it_says_in_words_what_is_to_be_done(loops, tmp_path):
    study = tmp_path / "harbour"
    said = ask("reads", "new", study, loops)
    assert "L001" in said
    assert "plane angle" in said
    assert "stay in the laboratory" in " ".join(said.split())
    assert "nothing" in ask("reads", "prepare", study)
    ask("reads", "prepare", study, "L001", "--plane-unknown", "--confirm")
    assert "Seed" in ask("reads", "assign", study, "--readers", "A")
    said = ask("reads", "package", study, "--reader", "A", "--out", tmp_path / "p")
    assert "3 showings for reader A" in said
    again = ("--encoding", "explicit", "--reason", "lost", "--out", tmp_path / "q")
    ask("reads", "package", study, "--reader", "A", *again)
    code = next((tmp_path / "q").glob("*.dcm")).stem
    assert "Unblinded" in ask("reads", "unblind", study, code, "--reason", "trial")
    ask("reads", "prepare", study)


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("prepare", "STUDY", "--confirm"), "Name the loops"),
        (("prepare", "STUDY", "L001", "--show", "0,0,9999,3"), "does not lie in a picture"),
        (("assign", "STUDY", "--readers", " , "), "at least one reader"),
        (("assign", "STUDY", "--readers", "A/B"), "readers"),
        (("prepare", "STUDY", "L001", "--plane-deg", "200"), "plane_deg"),
        (("prepare", "STUDY", "L001", "--note", f"{'x' * 80}=1"), "facts: notes"),
        (("prepare", "STUDY", "L001", "--hide=-1,0,3,3"), "hidden"),
        (("new", "OTHER", "LOOPS", "--code", "A/B"), "the study: code"),
        (("package", "STUDY", "--reader", "A", "--out", "p"), "is not assigned yet"),
        (("package", "STUDY", "--reader", "A", "--out", "p", "--encoding", "mp4"), "no encoding"),
    ],
)
def test_a_fault_is_one_sentence_and_exit_1(untouched, loops, tmp_path, words, message):
    places = {"STUDY": str(untouched), "OTHER": str(tmp_path / "other"), "LOOPS": str(loops)}
    parts = [places.get(one, one) for one in words]
    answer = CliRunner().invoke(app, ["reads", *parts])
    assert isinstance(answer.exception, InputError)
    assert message in answer.exception.message


@pytest.mark.parametrize(
    "option", [("--note", "depth"), ("--hide", "1,2,3"), ("--show", "a,b,c,d")]
)
def test_wrong_usage_is_exit_2(untouched, option):
    answer = CliRunner().invoke(app, ["reads", "prepare", str(untouched), "L001", *option])
    assert answer.exit_code == 2


def test_a_passphrase_comes_from_a_file_before_the_environment(loops, tmp_path, monkeypatch):
    study, kept = tmp_path / "harbour", tmp_path / "passphrase"
    kept.write_text("neap tide at noon\n")
    ask("reads", "new", study, loops, "--passphrase-file", kept)
    with pytest.raises(InputError, match="passphrase is another one"):
        ask("reads", "assign", study, "--readers", "A")
    ask("reads", "assign", study, "--readers", "A", "--passphrase-file", kept)
    with pytest.raises(InputError, match="cannot be read from it"):
        ask("reads", "assign", study, "--readers", "A", "--passphrase-file", tmp_path / "none")
    monkeypatch.delenv(passphrase.VARIABLE)
    with pytest.raises(InputError, match="needs its passphrase"):
        ask("reads", "assign", study, "--readers", "A")


def test_a_passphrase_is_asked_for_at_a_terminal(tmp_path, monkeypatch):
    monkeypatch.delenv(passphrase.VARIABLE)
    monkeypatch.setattr(passphrase.sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(passphrase.getpass, "getpass", lambda prompt: f"said to {prompt}")
    made = passphrase.key_ring(tmp_path / "s", tmp_path / "k", None)
    assert made.passphrase.startswith("said to Passphrase of the key of")
    assert made.path == tmp_path / "k"


def test_a_folders_name_becomes_a_code():
    assert code_of(Path("harbour 01/ü study")) == "study"
    assert code_of(Path("harbour 01")) == "harbour-01"
    assert code_of(Path("---")) == "study"
    assert len(code_of(Path("x" * 90))) == 32


def test_who_acts_is_the_systems_user_unless_stated(monkeypatch):
    monkeypatch.setattr(passphrase.getpass, "getuser", lambda: "u17")
    assert (passphrase.actor(""), passphrase.actor("keeper")) == ("u17", "keeper")
