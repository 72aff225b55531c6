"""Which encodings are read (UIDs: PS3.6 Annex A), and the sentence for those that are not."""

import pytest

from annot.loops import missing_decoder
from annot.loops.transfer_syntaxes import decoding_plugins, is_lossy, syntax_name

BASE = "1.2.840.10008.1.2"


@pytest.mark.parametrize(
    "tail", ["", ".1", ".1.99", ".2", ".5", ".4.50", ".4.51", ".4.90", ".4.91"]
)
def test_the_base_install_reads_these(tail):
    assert missing_decoder(BASE + tail) is None


@pytest.mark.parametrize(
    ("tail", "words"),
    [
        (".4.100", "video stream"),
        (".4.102.1", "video stream"),
        (".4.108", "video stream"),
        (".8.1", "No decoder is known"),
        (".99999", "No decoder is known"),
    ],
)
def test_what_nothing_reads_is_said_so(tail, words):
    sentence = missing_decoder(BASE + tail)
    assert sentence is not None
    assert words in sentence
    assert sentence.endswith(".")


@pytest.mark.parametrize("uid", ["", "nonsense", "1.2.é"])
def test_a_misspelt_encoding_is_unknown(uid):
    assert "No decoder is known" in str(missing_decoder(uid))


@pytest.mark.parametrize("tail", [".4.57", ".4.70", ".4.80", ".4.81", ".4.201", ".4.202", ".4.203"])
def test_other_encodings_name_the_plugins_that_would_read_them(tail):
    if decoding_plugins(BASE + tail):
        pytest.skip("a plugin for it is installed here")
    sentence = str(missing_decoder(BASE + tail))
    assert syntax_name(BASE + tail) in sentence
    assert "pylibjpeg" in sentence


def test_the_decoder_of_lossy_frames_is_pinned():
    assert decoding_plugins(f"{BASE}.4.50") == ("pillow",)
    assert decoding_plugins(f"{BASE}.5") == ("pydicom",)


@pytest.mark.parametrize(
    ("tail", "lossy"),
    [(".1", False), (".5", False), (".4.50", True), (".4.70", False), (".4.81", True),
     (".4.90", False), (".4.102", True), (".4.102.1", True)],
)  # fmt: skip
def test_lossy_encodings_are_known(tail, lossy):
    assert is_lossy(BASE + tail) is lossy
