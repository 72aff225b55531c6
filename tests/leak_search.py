"""A byte-by-byte search for planted strings: raw, in other texts' encodings, in what is packed."""

import base64
import gzip
import io
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import pydicom

ENCODINGS = ("utf-8", "utf-16-le", "utf-16-be")


def found_in(folder: Path, strings: Sequence[str]) -> list[tuple[str, str]]:
    """Return place and string of everything that is found, of file names too."""
    found = []
    for path in sorted(folder.rglob("*")):
        places = [("its name", str(path.relative_to(folder)).encode())]
        if path.is_file():
            places += list(layers(path.read_bytes()))
        for place, content in places:
            found += [(f"{path.name}: {place}", one) for one in held(content, strings)]
    return found


def holds(content: bytes, text: str) -> bool:
    """Tell whether bytes hold a text in any case or encoding, reversed byte pairs or base64."""
    return bool(held(content, [text]))


def held(content: bytes, strings: Sequence[str]) -> list[str]:
    """Return which texts bytes hold; what is made of the bytes is made once for all of them."""
    lower = content.lower()
    swapped = np.frombuffer(even(content), "<u2").byteswap().tobytes().lower()
    return [
        text
        for text in strings
        if any(text.lower().encode(encoding) in lower for encoding in ENCODINGS)
        or text.lower().encode() in swapped
        or any(
            # shorter pieces stand somewhere by chance
            len(part) >= 8 and part in content
            for part in (base64.b64encode(text[start:].encode())[:-4] for start in range(3))
        )
    ]


def even(content: bytes) -> bytes:
    return content + b"\0" * (len(content) % 2)


def layers(content: bytes, *, depth: int = 0) -> Iterator[tuple[str, bytes]]:
    """Yield bytes as they lie, and what every container in them unpacks to."""
    yield "its bytes", content
    if depth > 3:
        return
    for place, inner in unpacked(content):
        yield from ((f"{place}, {deeper}", part) for deeper, part in layers(inner, depth=depth + 1))


def unpacked(content: bytes) -> Iterator[tuple[str, bytes]]:
    if content[:2] == b"\x1f\x8b":
        yield "gzip", gzip.decompress(content)
    if content[:4] == b"PK\x03\x04":
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            for name in archive.namelist():
                yield f"name of zip member {name}", name.encode()
                yield f"zip member {name}", archive.read(name)
    if content[:8] == b"\x89PNG\r\n\x1a\n":
        yield "inflated PNG", png_parts(content)
    if content[128:132] == b"DICM":
        yield from dicom_parts(content)


def png_parts(content: bytes) -> bytes:
    at, packed = 8, b""
    while at < len(content):
        length = int.from_bytes(content[at : at + 4])
        if content[at + 4 : at + 8] == b"IDAT":
            packed += content[at + 8 : at + 8 + length]
        at += 12 + length
    return zlib.decompress(packed)


def dicom_parts(content: bytes) -> Iterator[tuple[str, bytes]]:
    dataset = pydicom.dcmread(io.BytesIO(content))
    if dataset.file_meta.TransferSyntaxUID == "1.2.840.10008.1.2.1.99":
        start = 144 + dataset.file_meta.FileMetaInformationGroupLength
        yield "deflated header", zlib.decompress(content[start:], -zlib.MAX_WBITS)
    yield "all values", "\n".join(str(element) for element in dataset.iterall()).encode()
    if "PixelData" in dataset:
        yield "decoded pixels", dataset.pixel_array.tobytes()


def shows(frames: np.ndarray, glyphs: np.ndarray) -> bool:
    """Tell whether a text's shape stands anywhere in a loop: bright where it is, dark around it.

    Parameters
    ----------
    frames : ndarray, shape (frames, rows, columns) or (frames, rows, columns, 3)
    glyphs : ndarray of bool
    """
    from scipy.signal import fftconvolve

    grey = frames.max(axis=3) if frames.ndim == 4 else frames
    kernel = (glyphs - glyphs.mean())[::-1, ::-1]
    best = glyphs.sum() * (1 - glyphs.mean())
    for frame in grey:
        scaled = frame.astype(float) / max(1.0, float(grey.max()))
        if fftconvolve(scaled, kernel, mode="valid").max() > 0.6 * best:
            return True
    return False
