"""A study without a name of its own gets a keyed one, never its UID."""

import stat

import pytest

from annot.errors import InputError
from annot.tasks.pseudonym import key_file, load_or_make_key, study_pseudonym


def test_key_is_made_once_for_its_owner_alone(tmp_path):
    path = tmp_path / "deep" / "key"
    first = load_or_make_key(path)
    assert load_or_make_key(path) == first
    assert len(first) == 32
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_pseudonym_depends_on_key_and_study_and_shows_neither():
    one = study_pseudonym("1.2.3", b"k" * 32)
    assert one == study_pseudonym("1.2.3", b"k" * 32)
    assert one != study_pseudonym("1.2.4", b"k" * 32)
    assert one != study_pseudonym("1.2.3", b"l" * 32)
    assert "1.2.3" not in one


def test_short_key_and_unwritable_place_are_refused(tmp_path):
    (tmp_path / "short").write_bytes(b"abc")
    with pytest.raises(InputError, match="too short"):
        load_or_make_key(tmp_path / "short")
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match="ANNOT_KEY_FILE"):
        load_or_make_key(tmp_path / "file" / "key")


def test_key_file_follows_the_environment(monkeypatch, tmp_path):
    monkeypatch.setenv("ANNOT_KEY_FILE", str(tmp_path / "k"))
    assert key_file() == tmp_path / "k"
    monkeypatch.delenv("ANNOT_KEY_FILE")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert key_file() == tmp_path / "annot" / "pseudonym.key"
