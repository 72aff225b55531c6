"""Which pixel encodings can be decoded here, and what is missing for the others.

UIDs: PS3.6 Annex A.
"""

from importlib.util import find_spec

from pydicom.config import IGNORE
from pydicom.uid import UID

_BASE = "1.2.840.10008.1.2"
_ENCAPSULATED = f"{_BASE}.4."

NATIVE = frozenset({_BASE, f"{_BASE}.1", f"{_BASE}.1.99", f"{_BASE}.2"})
BIG_ENDIAN = f"{_BASE}.2"
RLE = f"{_BASE}.5"
DEFLATED_FRAMES = f"{_BASE}.8.1"
JPEG = frozenset(f"{_ENCAPSULATED}{number}" for number in (50, 51))
JPEG_LOSSLESS = frozenset(f"{_ENCAPSULATED}{number}" for number in (57, 70))
JPEG_LS = frozenset(f"{_ENCAPSULATED}{number}" for number in (80, 81))
JPEG_2000 = frozenset(f"{_ENCAPSULATED}{number}" for number in (90, 91))
HTJ2K = frozenset(f"{_ENCAPSULATED}{number}" for number in (201, 202, 203))
COMPRESSED = frozenset({RLE, DEFLATED_FRAMES}) | JPEG | JPEG_LOSSLESS | JPEG_LS | JPEG_2000 | HTJ2K
# The colour transforms of JPEG 2000, and the one of videos (PS3.3 C.7.6.3.1.2).
_CODESTREAM_COLOURS = frozenset({"YBR_RCT", "YBR_ICT"})
_VIDEO_COLOUR = "YBR_PARTIAL_420"
# Each also exists with its video cut into fragments, as `….1`.
_VIDEO = frozenset(f"{_ENCAPSULATED}{number}" for number in range(100, 109))
# JPEG 2000 (.91) and HTJ2K (.203) may be either, so they do not count here.
_LOSSY = JPEG | {f"{_ENCAPSULATED}81"} | _VIDEO


def syntax_name(uid: str) -> str:
    """Give the encoding's name in words, or the UID if it has none that is known."""
    if uid == DEFLATED_FRAMES:  # younger than the parser's table
        return "Deflated Image Frame Compression"
    # A misspelt UID is unknown, not worth a warning.
    return UID(uid, validation_mode=IGNORE).name


def short_name(uid: str) -> str:
    """Give the encoding's name in a word or two, for lists."""
    if is_video(uid):
        return "video"
    names = {
        BIG_ENDIAN: "native BE",
        f"{_BASE}.1.99": "deflated",
        RLE: "RLE",
        DEFLATED_FRAMES: "deflated frames",
        f"{_ENCAPSULATED}50": "JPEG",
        f"{_ENCAPSULATED}51": "JPEG extended",
        f"{_ENCAPSULATED}81": "JPEG-LS near",
        **dict.fromkeys(NATIVE - {BIG_ENDIAN, f"{_BASE}.1.99"}, "native"),
        **dict.fromkeys(JPEG_LOSSLESS, "JPEG lossless"),
        f"{_ENCAPSULATED}80": "JPEG-LS",
        **dict.fromkeys(JPEG_2000, "JPEG 2000"),
        **dict.fromkeys(HTJ2K, "HTJ2K"),
    }
    return names.get(uid, uid)


def is_lossy(uid: str) -> bool:
    """Tell whether this encoding always loses information."""
    return uid.removesuffix(".1") in _LOSSY


def is_video(uid: str) -> bool:
    """Tell whether the pixels are one video stream instead of frames."""
    return uid.removesuffix(".1") in _VIDEO


def colour_fits(photometric: str, uid: str) -> bool:
    """Tell whether a photometric interpretation can occur in an encoding at all."""
    if photometric in _CODESTREAM_COLOURS:
        return uid in JPEG_2000 | HTJ2K
    return photometric != _VIDEO_COLOUR or is_video(uid)


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
    if uid in NATIVE or uid in COMPRESSED:
        return None
    if is_video(uid):
        if find_spec("av") is not None:
            return None
        return (
            f"{syntax_name(uid)} is a video, which needs the extra `video`: install it with "
            "pip install 'annot[video]', or export the loop as frames."
        )
    return f"No decoder is known for the transfer syntax {uid}: export the loop uncompressed."
