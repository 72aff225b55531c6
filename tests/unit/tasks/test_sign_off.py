"""A hand-over list signed line by line: kept in a file, open again where a line changed."""

import json
from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from annot.cli.main import app
from annot.errors import InputError
from annot.reads.sign_off import SignOff
from annot.reads.sign_off_file import dump_sign_offs, load_sign_offs, sign_off_path
from annot.tasks.handover import hand_over
from annot.tasks.measure import measure_read
from annot.tasks.read import load_read
from annot.tasks.sign_off import settled_of, sign_lines, signed_lines
from tests.unit.tasks.test_measure import caliper
from tests.unit.tasks.test_protocol import OWN, folder, read_in

__all__ = ["folder"]
NOON = datetime(2025, 3, 4, 12, 0, tzinfo=UTC)


def listed(folder, *calipers, **loop):
    path = read_in(folder, *calipers, **loop)
    read = load_read(path)
    return hand_over(read, measure_read(read, folder)), path


def test_a_signed_line_keeps_who_when_and_in_which_word(folder):
    answer, path = listed(folder, caliper())
    first, second = answer.lines()
    [one, other] = sign_lines(answer, path, [first.code], by="R1", word="accepted", at=NOON)
    assert (one.state, other.state) == ("signed", "open")
    assert one.words == (
        f"[{first.code}] ostium_width, X-ray, any projection: 1 of 2 repeats — signed by R1, "
        "2025-03-04 12:00 UTC: accepted"
    )
    assert other.line == second
    assert [line.state for line in signed_lines(answer, path)] == ["signed", "open"]
    kept = json.loads(sign_off_path(path).read_text(encoding="utf-8"))
    assert kept["read"] == "read.json"
    assert kept["signed"][0]["at"] == "2025-03-04T12:00:00+00:00"


def test_a_line_that_changed_is_open_again_and_says_what_was_signed(folder):
    far = caliper(id="b", repeat=2, points_px=[[10, 10], [40, 70]])
    answer, path = listed(folder, caliper(), far)
    over = next(one for one in answer.lines() if one.topic.startswith("limit"))
    sign_lines(answer, path, [over.code], by="R1", word="seen", at=NOON)
    answer, path = listed(folder, caliper(), far | {"points_px": [[10, 10], [40, 72]]})
    [changed] = [one for one in signed_lines(answer, path) if one.line.topic == over.topic]
    assert changed.state == "changed"
    assert over.text in changed.words
    assert "changed since it was signed by R1" in changed.words
    # the old code signs nothing any more
    with pytest.raises(InputError, match="no line of the list as it stands"):
        sign_lines(answer, path, [over.code], by="R1", word="seen")


def test_another_protocol_opens_what_was_signed_under_the_old_one(folder):
    answer, path = listed(folder, caliper())
    sign_lines(answer, path, [one.code for one in answer.lines()], by="R1", word="ok", at=NOON)
    (folder / "own.yaml").write_text(OWN.replace("version: 2", "version: 3"), encoding="utf-8")
    answer, path = listed(folder, caliper())
    assert {one.state for one in signed_lines(answer, path)} == {"changed"}


def test_what_is_settled_is_told_and_older_signatures_stay(folder):
    answer, path = listed(folder, caliper())
    code = answer.lines()[0].code
    sign_lines(answer, path, [code], by="R1", word="open", at=NOON)
    sign_lines(answer, path, [code], by="R2", word="agreed", at=NOON)
    assert [one.by for one in load_sign_offs(sign_off_path(path))] == ["R1", "R2"]
    answer, path = listed(folder, caliper(), caliper(id="b", repeat=2))
    assert [one.by for one in settled_of(answer, path)] == ["R2"]


@pytest.mark.parametrize(
    ("codes", "by", "word", "words"),
    [
        (["000000"], "R1", "ok", "no line of the list as it stands"),
        ([], "R1", "ok", "Name at least one line"),
        (None, " ", "ok", "needs the code of who signs"),
        (None, "R1", "", "needs the code of who signs"),
    ],
)
def test_what_cannot_be_signed_signs_nothing(folder, codes, by, word, words):
    answer, path = listed(folder, caliper())
    chosen = [answer.lines()[0].code] if codes is None else codes
    with pytest.raises(InputError, match=words):
        sign_lines(answer, path, chosen, by=by, word=word)
    assert not sign_off_path(path).exists()


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{", "\ud800", '{"annot_sign_off": 2, "read": "r", "signed": []}']
    + [
        json.dumps({"annot_sign_off": 1, "read": "r", "signed": [signed]})
        for signed in ({}, {"code": "x"}, "a", None)
    ],
)
def test_a_file_that_is_no_sign_off_is_refused_in_one_sentence(folder, text):
    answer, path = listed(folder, caliper())
    sign_off_path(path).write_bytes(text.encode("utf-8", "surrogatepass"))
    with pytest.raises(InputError) as fault:
        sign_lines(answer, path, [answer.lines()[0].code], by="R1", word="ok")
    assert fault.value.message.startswith("read.handover.json")
    assert "\n" not in fault.value.message
    assert sign_off_path(path).read_bytes() == text.encode("utf-8", "surrogatepass")


TEXTS = st.text(min_size=1, max_size=60).filter(str.strip)


@given(TEXTS, TEXTS, TEXTS)
def test_whatever_is_signed_is_read_back(tmp_path_factory, text, by, word):
    try:
        for one in (text, by, word):
            one.encode()
    except UnicodeEncodeError:
        return
    path = tmp_path_factory.getbasetemp() / "any.handover.json"
    one = SignOff(code="0a1b2c", topic="t", text=text, protocol="p", by=by, at=NOON, word=word)
    path.write_text(dump_sign_offs((one,), read="r.json"), encoding="utf-8")
    assert load_sign_offs(path) == (one,)


def test_the_commands_sign_and_show(folder):
    _, path = listed(folder, caliper())
    runner = CliRunner()
    shown = json.loads(runner.invoke(app, ["protocol", "missing", str(path), "--json"]).stdout)
    code = shown["lines"][0]["code"]
    assert shown["lines"][0]["state"] == "open"
    words = ["protocol", "sign", str(path), code, "--by", "R1", "--word", "accepted"]
    done = runner.invoke(app, words)
    assert "1 of 2 lines are signed" in done.stdout
    assert "signed by R1" in runner.invoke(app, ["protocol", "missing", str(path)]).stdout
    assert isinstance(
        runner.invoke(app, ["protocol", "sign", str(path), "123456", *words[4:]]).exception,
        InputError,
    )
