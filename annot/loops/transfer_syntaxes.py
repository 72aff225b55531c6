"""Which pixel encodings can be decoded here, and what is missing for the others.

Native encodings are read by annot itself. RLE goes through pydicom, JPEG baseline through Pillow:
always the same one, since two decoders of one lossy frame differ by a few grey levels.
"""

from pydicom.config import IGNORE
from pydicom.pixels.decoders.base import Decoder, get_decoder
from pydicom.uid import UID

from annot.loops.quiet import captured_warnings

NATIVE = frozenset(
    {
        "1.2.840.10008.1.2",
        "1.2.840.10008.1.2.1",
        "1.2.840.10008.1.2.1.99",
        "1.2.840.10008.1.2.2",
    }
)
BIG_ENDIAN = "1.2.840.10008.1.2.2"
RLE = "1.2.840.10008.1.2.5"
JPEG_BASELINE = "1.2.840.10008.1.2.4.50"
JPEG_EXTENDED = "1.2.840.10008.1.2.4.51"
JPEG_2000 = frozenset({"1.2.840.10008.1.2.4.90", "1.2.840.10008.1.2.4.91"})
_ENCAPSULATED = "1.2.840.10008.1.2.4."
_VIDEO = frozenset(f"{_ENCAPSULATED}{number}" for number in range(100, 109))
# JPEG 2000 (.91) and HTJ2K (.203) may be either, so they do not count here.
_LOSSY = frozenset(f"{_ENCAPSULATED}{number}" for number in (50, 51, 81)) | _VIDEO
_PINNED = {RLE: "pydicom", JPEG_BASELINE: "pillow"}


def syntax_name(uid: str) -> str:
    """Give the encoding's name in words, or the UID if it has none that is known."""
    return _unchecked(uid).name


def is_lossy(uid: str) -> bool:
    """Tell whether this encoding always loses information."""
    return uid.removesuffix(".1") in _LOSSY


def missing_decoder(uid: str) -> str | None:
    """Say what is missing to decode an encoding.

    Parameters
    ----------
    uid
        Transfer syntax UID.

    Returns
    -------
    str or None
        One sentence that names what is missing, or ``None`` if the encoding can be decoded.
    """
    if uid in NATIVE or decoding_plugins(uid):
        return None
    if uid.removesuffix(".1") in _VIDEO:
        return (
            f"{syntax_name(uid)} is a video stream without separate frames and cannot be measured "
            "frame by frame: export the loop as frames, without a video encoding."
        )
    known = _decoder(uid)
    if known is None:
        return f"No decoder is known for the transfer syntax {uid}: export the loop uncompressed."
    offered = " or ".join(sorted({need.split()[0] for need in known.missing_dependencies}))
    return (
        f"{syntax_name(uid)} needs a decoder that is not installed: install a pydicom plugin for "
        f"it ({offered}), or export the loop uncompressed."
    )


def decoding_plugins(uid: str) -> tuple[str, ...]:
    """Names of the installed pydicom plugins for an encoding, the one to use first."""
    decoder = _decoder(uid)
    if decoder is None:
        return ()
    available = decoder.available_plugins
    pinned = _PINNED.get(uid)
    return (pinned,) if pinned in available else tuple(available)


def _unchecked(uid: str) -> UID:
    """Make a UID of whatever a file holds; a misspelt one is unknown, not worth a warning."""
    return UID(uid, validation_mode=IGNORE)


def _decoder(uid: str) -> Decoder | None:
    try:
        with captured_warnings():
            return get_decoder(_unchecked(uid))
    except NotImplementedError:
        return None
