"""What every store keeps to, on SQLite and on PostgreSQL alike."""

import threading
from datetime import UTC, datetime, timedelta, timezone
from types import SimpleNamespace

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from annot.errors import InputError
from annot.store import (
    FREEZE,
    FrozenError,
    Intent,
    Query,
    Record,
    SupersededError,
    connect,
    in_words,
)
from annot.store.audit import check_chain
from tests.contracts.reading_study import StudyPlan, run_study

AT = datetime(2026, 3, 1, 9, 30, tzinfo=UTC)


@pytest.fixture
def store(url):
    opened = connect(url)
    yield opened
    opened.close()


def intent(key="a", *, body=None, token=None, seen=0, reason="", actor="A", study="S", at=AT):
    record = Record(
        study=study, kind="reading", key=key, body={"mm": 21.4} if body is None else body
    )
    return Intent(
        record=record,
        token=token or f"{key}-{seen}",
        actor=actor,
        at=at,
        reason=reason,
        seen_version=seen,
    )


def test_what_is_kept_comes_back_as_it_was(store):
    body = {"mm": 0.1 + 0.2, "points": [[1.5, 2], [3, 4e-7]], "note": "größer ± 1", "none": None}
    [kept] = store.append(intent(body=body, at=AT.astimezone(timezone(timedelta(hours=5)))))
    [found] = store.read(Query(study="S"))
    assert found == kept
    assert found.record.body == body
    assert found.at == AT
    assert found.at.utcoffset() == timedelta(0)


def test_a_later_version_holds_and_the_earlier_stays(store):
    store.append(intent(), intent("b"))
    store.append(intent(body={"mm": 22.0}, seen=1, reason="wrong frame", actor="lab"))
    assert [(one.record.key, one.version) for one in store.read(Query(study="S"))] == [
        ("b", 1),
        ("a", 2),
    ]
    versions = [one.version for one in store.read(Query(study="S", key="a", history=True))]
    assert versions == [1, 2]
    assert not list(store.read(Query(study="S", kind="scale")))


def test_a_version_that_somebody_else_superseded_is_refused(store):
    store.append(intent())
    store.append(intent(seen=1, reason="first", actor="B"))
    with pytest.raises(SupersededError, match=r"read as version 1, but B wrote version 2"):
        store.append(intent(seen=1, reason="second", token="other"))
    with pytest.raises(SupersededError, match="does not exist"):
        store.append(intent("new", seen=3, reason="why", token="more"))
    assert store.verify_chain("S").events == 2


def test_an_act_repeated_with_its_token_is_kept_once(store):
    [first] = store.append(intent())
    [again] = store.append(intent(at=AT + timedelta(hours=1)))
    assert again == first
    with pytest.raises(InputError, match="used for another act"):
        store.append(intent("b", token="a-0"))


@pytest.mark.parametrize(
    "other", [{"actor": "B"}, {"reason": "another why"}, {"body": {"mm": 21.5}}, {"seen": 1}]
)
def test_who_and_why_are_part_of_an_act(store, other):
    """A token used again by somebody else, or for another reason, is no repeated attempt."""
    store.append(intent(token="t", reason="why"))
    with pytest.raises(InputError, match="used for another act"):
        store.append(intent(**{"token": "t", "reason": "why", **other}))
    assert store.verify_chain("S").events == 1


def freezing(study="S", token="freeze"):
    record = Record(study=study, kind=FREEZE, key=study, body={"rows": 1})
    return Intent(record=record, token=token, actor="lab", at=AT)


def test_a_frozen_study_takes_nothing_more(store):
    store.append(intent(), intent(study="S", key="b"), freezing())
    for later in (
        intent("c"),
        intent(seen=1, reason="too late", token="late"),
        freezing(token="again"),
    ):
        with pytest.raises(FrozenError, match=r"frozen by lab at 2026-03-01.*nothing joins"):
            store.append(later)
    assert store.verify_chain("S").events == 3
    # an attempt repeated because its answer was lost gets that answer, and others go on
    [again] = store.append(freezing())
    assert again.sequence == 3
    store.append(intent(study="T"))


def test_looking_behind_a_code_may_follow_a_freeze_and_nothing_else_may(store):
    store.append(intent(), freezing())
    looked = Record(study="S", kind="unblinding", key="CODE", body={"code": "CODE"})
    store.append(Intent(record=looked, token="u", actor="lab", at=AT))
    with pytest.raises(FrozenError):
        store.append(intent("b"))
    assert store.verify_chain("S").events == 3


def test_a_reading_that_was_put_behind_a_freeze_is_found(tmp_path):
    """A chain whose links are right, made by a program that does not keep to the freeze."""
    from annot.store import append as writer

    store = connect(str(tmp_path / "store.db"))
    store.append(intent(), freezing())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(writer, "_refuse_frozen", lambda *_: None)
        store.append(intent("b"))
    assert "event 3 joined a study that was frozen" in store.verify_chain("S").fault
    store.close()


def test_nothing_follows_a_freeze_in_its_own_batch(store):
    with pytest.raises(FrozenError, match="nothing joins"):
        store.append(freezing(), intent("b"))
    assert store.studies() == []


def test_of_several_acts_all_are_kept_or_none(store):
    with pytest.raises(SupersededError):
        store.append(intent(), intent("b", seen=4, reason="why"))
    assert store.studies() == []


def test_a_batch_may_supersede_its_own_record(store):
    first, second = store.append(intent(), intent(seen=1, reason="slip of the hand"))
    assert (first.version, second.version) == (1, 2)
    assert second.previous == first.digest
    assert store.append() == ()


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (intent(seen=1), "needs a reason"),
        (intent(actor=""), "needs a study"),
        (intent(at=datetime(2026, 1, 1)), "time zone"),  # noqa: DTZ001 - the fault under test
        (intent(body={"mm": float("nan")}), "nan"),
        (intent(body={"text": "a\x00b"}), "null character"),
        (intent(body={"text": "a\ud800"}), "half a character"),
        (intent(body={"set": {1}}), "cannot be kept"),
        (intent(body={3: "x"}), "no text"),
    ],
)
def test_what_cannot_be_kept_is_refused_in_words(store, bad, words):
    with pytest.raises(InputError, match=words):
        store.append(bad)
    assert store.studies() == []


def test_a_record_of_another_study_cannot_join_a_chain(store):
    with pytest.raises(InputError, match="cannot join"):
        store.append(intent(), intent(study="T"))


def test_studies_have_chains_of_their_own(store):
    store.append(intent())
    store.append(intent(study="T"))
    assert store.studies() == ["S", "T"]
    assert [store.verify_chain(one).events for one in ("S", "T")] == [1, 1]
    assert store.verify_chain("nobody").head is None


@pytest.mark.parametrize("deed", ["UPDATE events SET actor = 'X'", "DELETE FROM events"])
def test_the_database_itself_refuses_to_change_a_row(store, deed):
    store.append(intent())
    with (
        pytest.raises(sa.exc.DBAPIError, match="only ever added"),
        store.engine.begin() as connection,
    ):
        connection.exec_driver_sql(deed)
    assert store.verify_chain("S").holds


def unguarded(store, *deeds):
    """Change rows behind the store's back, as somebody with the file in hands could."""
    sqlite = store.engine.dialect.name == "sqlite"
    with store.engine.connect().execution_options(writes=True) as connection, connection.begin():
        if sqlite:
            for deed in ("update", "delete"):
                connection.exec_driver_sql(f"DROP TRIGGER IF EXISTS events_no_{deed}")
        else:
            connection.exec_driver_sql("ALTER TABLE events DISABLE TRIGGER USER")
        for deed in deeds:
            connection.exec_driver_sql(deed)


TAMPERED = {
    "an altered body": (["UPDATE events SET body = '{\"mm\":9.9}' WHERE sequence = 2"], "event 2"),
    "an altered moment": (
        ["UPDATE events SET at = replace(at, 'T', ' ') WHERE sequence = 3"],
        "event 3 was altered",
    ),
    "a space in the body": (
        ["UPDATE events SET body = replace(body, ':', ': ') WHERE sequence = 1"],
        "event 1 was altered",
    ),
    "a missing event": (["DELETE FROM events WHERE sequence = 2"], "event 2 is missing"),
    "a missing event, closed up": (
        [
            "DELETE FROM events WHERE sequence = 2",
            "UPDATE events SET sequence = 2 WHERE sequence = 3",
        ],
        "event 2 was altered",
    ),
    "two events exchanged": (
        [
            "UPDATE events SET sequence = 9 WHERE sequence = 1",
            "UPDATE events SET sequence = 1 WHERE sequence = 2",
            "UPDATE events SET sequence = 2 WHERE sequence = 9",
        ],
        "event 1 was altered",
    ),
    "an unreadable body": (["UPDATE events SET body = '{' WHERE sequence = 2"], "readable"),
}


@pytest.mark.parametrize("name", TAMPERED)
def test_the_first_fault_of_a_chain_is_found(store, name):
    deeds, words = TAMPERED[name]
    store.append(intent(), intent("b"), intent("c"), intent("d"))
    unguarded(store, *deeds)
    report = store.verify_chain("S")
    assert not report.holds
    assert words in report.fault


def test_a_cut_off_end_is_found_against_an_anchor_only(store):
    store.append(intent(), intent("b"), intent("c"))
    anchor = store.verify_chain("S").head
    unguarded(store, "DELETE FROM events WHERE sequence = 3")
    assert store.verify_chain("S").holds
    fault = store.verify_chain("S", anchors=[anchor]).fault
    assert "ends at event 2, while an anchor saw event 3" in fault


def test_a_chain_written_anew_is_found_against_an_anchor(tmp_path):
    first, second = connect(str(tmp_path / "a.db")), connect(str(tmp_path / "b.db"))
    first.append(intent(), intent("b"))
    second.append(intent(body={"mm": 30.0}), intent("b"))
    anchor = first.verify_chain("S").head
    assert second.verify_chain("S").holds
    assert "not the one that the anchor saw" in second.verify_chain("S", anchors=[anchor]).fault
    first.close()
    second.close()


TEXTS = (
    "study", "kind", "key", "token", "actor", "at", "reason", "body", "previous", "digest",
)  # fmt: skip
FLIPS = settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])


def chain_of_four(store):
    """Return the rows of a chain with letters of two bytes, a version and a reason."""
    odd = {"mm": 21.4, "note": "größer"}
    store.append(intent("ä", body=odd), intent("b"), intent("ä", seen=1, reason="r"), intent("c"))
    with store.engine.connect() as connection:
        return connection.execute(sa.text("SELECT * FROM events ORDER BY sequence")).all()


def flipped(text, place, bit):
    """Return a text with one bit of its bytes turned; what is no text comes as the store has it."""
    data = bytearray(text.encode())
    data[place] ^= 1 << bit
    return bytes(data).decode("utf-8", "surrogateescape")


def test_any_flipped_bit_of_any_row_is_found(tmp_path):
    """Every bit of every byte of every text column of a chain, and of both numbers."""
    store = connect(str(tmp_path / "store.db"))
    rows = [dict(row._mapping) for row in chain_of_four(store)]
    tried = 0
    for index, row in enumerate(rows):
        changes = [
            (column, flipped(row[column], place, bit))
            for column in TEXTS
            for place in range(len(row[column].encode()))
            for bit in range(8)
        ]
        changes += [(name, row[name] ^ (1 << bit)) for name in NUMBERS for bit in range(63)]
        for column, changed in changes:
            chain = [SimpleNamespace(**one) for one in rows]
            setattr(chain[index], column, changed)
            # a row that changed its study, or its place, is found by a query elsewhere or nowhere
            chain = sorted((one for one in chain if one.study == "S"), key=lambda one: one.sequence)
            report = check_chain("S", chain)
            assert not report.holds or report.events < 4, (index, column, changed)
            tried += 1
    assert tried > 6000
    store.close()


NUMBERS = ("sequence", "version")


@FLIPS
@given(data=st.data())
def test_a_flipped_bit_in_the_database_itself_is_found(url, data):
    """The same through the whole way: bytes changed where they lie, then read and checked."""
    store = connect(url)
    try:
        unguarded(store, "DELETE FROM events")
        rows = chain_of_four(store)
        put(store, *drawn_change(data, rows))
        report = store.verify_chain("S")
        assert not report.holds or report.events < 4
        try:
            left = len(list(store.read(Query(study="S", history=True))))
        except InputError:
            left = 0
        assert left < 4
    finally:
        store.close()


def drawn_change(data, rows):
    """Draw a row, a column and its content with one bit turned."""
    row = rows[data.draw(st.integers(0, 3), label="row")]
    column = data.draw(st.sampled_from([*TEXTS, *NUMBERS]), label="column")
    old = getattr(row, column)
    if column in NUMBERS:
        return row, column, old ^ (1 << data.draw(st.integers(0, 30), label="bit"))
    assume(old)
    place = data.draw(st.integers(0, len(old.encode()) - 1), label="byte")
    return row, column, flipped(old, place, data.draw(st.integers(0, 7), label="bit"))


def put(store, row, column, new):
    """Change one cell; what a database does not let in is no case."""
    sqlite = store.engine.dialect.name == "sqlite"
    value, cell = new, ":new"
    if isinstance(new, str):
        value = new.encode("utf-8", "surrogateescape")
        cell = "CAST(:new AS TEXT)" if sqlite else "convert_from(:new, 'UTF8')"
    change = f"UPDATE events SET {column} = {cell} WHERE digest = :digest"
    try:
        with (
            store.engine.connect().execution_options(writes=True) as connection,
            connection.begin(),
        ):
            connection.execute(sa.text(change), {"new": value, "digest": row.digest})
    except sa.exc.DBAPIError:
        assume(False)


def test_what_was_altered_never_leaves(store):
    store.append(intent(), intent("b"))
    unguarded(store, "UPDATE events SET body = '{\"mm\":20.0}' WHERE sequence = 2")
    with pytest.raises(InputError, match="event 2 was altered"):
        list(store.read(Query(study="S")))


def test_an_event_is_told_in_words(store):
    store.append(intent(), intent(seen=1, reason="wrong frame", actor="lab"))
    lines = [in_words(one) for one in store.read(Query(study="S", history=True))]
    assert lines[0].endswith("2026-03-01 09:30:00 UTC  A entered reading a")
    assert lines[1].endswith("lab changed to version 2 reading a, because: wrong frame")


def test_writers_at_once_never_share_a_version(url):
    """Sixteen threads with a store each supersede one record: one of each generation wins."""
    first = connect(url)
    first.append(intent())
    outcomes = []

    def write(name):
        mine = connect(url)
        try:
            mine.append(intent(seen=1, reason=name, token=name, actor=name))
            outcomes.append("kept")
        except SupersededError:
            outcomes.append("refused")
        finally:
            mine.close()

    threads = [threading.Thread(target=write, args=(f"w{n}",)) for n in range(16)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(outcomes) == ["kept"] + ["refused"] * 15
    assert first.verify_chain("S").events == 2
    first.close()


SMALL = StudyPlan(readers=4, loops=40, kill_every_s=0.7, most_kills=6, pause_s=0.02, seed=7)


def test_readers_at_once_lose_and_double_nothing_though_killed(url):
    """The full study, 8 readers of 200 loops each, is tests/bench/bench_store.py."""
    done = run_study(url, SMALL)
    assert done.kills > 0
    assert not done.fault
    assert (done.lost, done.strange, done.doubled) == (frozenset(), frozenset(), 0)
    assert done.tally == done.tally_wanted == 16
    assert done.stale == 0
    assert done.events == 4 * (40 + 4 + 6)


@pytest.mark.parametrize(
    ("url", "words"),
    [
        ("mysql://x/y", "not mysql"),
        ("://", "no store"),
        ("/nowhere/at/all/store.db", "cannot be opened"),
        ("postgresql://nobody@127.0.0.1:9/none?connect_timeout=2", "cannot be opened"),
    ],
)
def test_a_store_that_cannot_be_opened_says_why(url, words):
    with pytest.raises(InputError, match=words):
        connect(url)


def test_a_file_that_is_no_store_is_left_alone(tmp_path):
    file = tmp_path / "read.json"
    file.write_text('{"annot_read": 1}')
    with pytest.raises(InputError, match="cannot be opened"):
        connect(str(file))
    assert file.read_text() == '{"annot_read": 1}'


def test_a_chain_carried_to_another_store_is_the_same_chain(url, tmp_path):
    first, second = connect(str(tmp_path / "first.db")), connect(url)
    first.append(intent("ä", body={"note": "größer"}), intent("b"))
    lines = list(first.lines_of_chain("S"))
    assert second.take_chain(lines, name="f") == first.verify_chain("S").head
    # what was carried is a chain that goes on, here and there
    first.append(intent(seen=1, key="b", reason="later", token="b-2"))
    longer = list(first.lines_of_chain("S"))
    for _ in range(2):
        assert second.take_chain(longer, name="f") == second.verify_chain("S").head
    assert list(second.read(Query(study="S", history=True))) == list(
        first.read(Query(study="S", history=True))
    )
    with pytest.raises(InputError, match="another chain of study S, or more"):
        second.take_chain(lines, name="f")
    first.close()
    second.close()


@pytest.fixture(scope="module")
def chain_text(tmp_path_factory):
    store = connect(str(tmp_path_factory.mktemp("chain") / "store.db"))
    store.append(intent("ä", body={"note": "größer"}), intent("b"))
    text = "".join(store.lines_of_chain("S"))
    store.close()
    return text


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_no_chain_is_taken_from_a_file_of_which_one_bit_was_turned(chain_text, tmp_path, data):
    place = data.draw(st.integers(0, len(chain_text.encode()) - 1))
    changed = flipped(chain_text, place, data.draw(st.integers(0, 7)))
    empty = connect(str(tmp_path / f"{data.draw(st.uuids())}.db"))
    try:
        empty.take_chain(changed.splitlines(keepends=True), name="f")
        # white space between lines is all that may change
        assert changed.split() == chain_text.split()
    except InputError:
        assert empty.studies() == []
    finally:
        empty.close()


@pytest.mark.parametrize("bad", ["", "{}", "[1]", '{"annot_chain": 2, "study": "S"}', "no"])
def test_a_file_that_is_no_chain_is_refused(store, bad):
    with pytest.raises(InputError, match="is no chain of version 1"):
        store.take_chain([bad], name="f.jsonl")
