"""Which encodings are read (UIDs: PS3.6 Annex A), and the sentence for those that are not."""

import pytest

from annot.loops import missing_decoder, short_name
from annot.loops.transfer_syntaxes import is_lossy

BASE = "1.2.840.10008.1.2"


@pytest.mark.parametrize("tail", ["", ".1", ".1.99", ".2", ".5"])
@pytest.mark.parametrize("number", [50, 51, 57, 70, 80, 81, 90, 91, 201, 202, 203])
def test_the_base_install_reads_these(tail, number):
    assert missing_decoder(BASE + tail) is None
    assert missing_decoder(f"{BASE}.4.{number}") is None


@pytest.mark.parametrize(
    ("tail", "words"),
    [
        (".99999", "No decoder is known"),
    ],
)
def test_what_nothing_reads_is_said_so(tail, words):
    sentence = missing_decoder(BASE + tail)
    assert sentence is not None
    assert words in sentence
    assert sentence.endswith(".")


@pytest.mark.parametrize(
    ("tail", "name"),
    [("", "native"), (".2", "native BE"), (".1.99", "deflated"), (".4.70", "JPEG lossless"),
     (".4.81", "JPEG-LS near"), (".4.202", "HTJ2K"), (".4.107.1", "video"), (".77", f"{BASE}.77")],
)  # fmt: skip
def test_an_encoding_has_a_short_name_for_lists(tail, name):
    assert short_name(BASE + tail) == name


@pytest.mark.parametrize("tail", [".4.100", ".4.102", ".4.102.1", ".4.108"])
def test_a_video_names_the_extra_that_reads_it(tail, monkeypatch):
    monkeypatch.setattr("annot.loops.transfer_syntaxes.find_spec", lambda _name: None)
    assert "pip install 'annot[video]'" in str(missing_decoder(BASE + tail))
    monkeypatch.setattr("annot.loops.transfer_syntaxes.find_spec", lambda name: name)
    assert missing_decoder(BASE + tail) is None


@pytest.mark.parametrize("uid", ["", "nonsense", "1.2.é"])
def test_a_misspelt_encoding_is_unknown(uid):
    assert "No decoder is known" in str(missing_decoder(uid))


@pytest.mark.parametrize(
    ("tail", "lossy"),
    [(".1", False), (".5", False), (".4.50", True), (".4.70", False), (".4.81", True),
     (".4.90", False), (".4.102", True), (".4.102.1", True)],
)  # fmt: skip
def test_lossy_encodings_are_known(tail, lossy):
    assert is_lossy(BASE + tail) is lossy
