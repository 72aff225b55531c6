"""Decode a grey sequential JPEG of 8 or 12 bits by the book, slowly.

Written from ISO/IEC 10918-1 (B.2 marker segments, F.2.2 Huffman decoding, A.3.3 the inverse DCT in
floating point); it shares no code with any library. No installed decoder but the one under test
reads 12 bits, so this is what that one is compared with.
"""

import struct
from dataclasses import dataclass, field

import numpy as np

_ZIGZAG = sorted(
    range(64),
    key=lambda at: (
        at // 8 + at % 8,
        at // 8 if (at // 8 + at % 8) % 2 else at % 8,
    ),
)


@dataclass
class _Tables:
    bits: int = 0
    rows: int = 0
    columns: int = 0
    quantisers: dict[int, np.ndarray] = field(default_factory=dict)
    codes: dict[int, dict[tuple[int, int], int]] = field(default_factory=dict)
    quantiser: int = 0
    restart: int = 0


def decode_plain_jpeg(stream: bytes) -> np.ndarray:
    """Give (rows, columns) of the samples as floats, before rounding."""
    tables, at = _Tables(), 2
    while True:
        marker, length = struct.unpack_from(">HH", stream, at)
        segment = stream[at + 4 : at + 2 + length]
        at += 2 + length
        if marker == 0xFFDA:
            assert segment[0] == 1, "only grey"
            dc, ac = divmod(segment[2], 16)
            return _scan(stream[at:], tables, (tables.codes[dc], tables.codes[16 + ac]))
        _read_segment(marker, segment, tables)


def _read_segment(marker: int, segment: bytes, tables: _Tables) -> None:
    if marker == 0xFFDB:
        while segment:
            wide, number = divmod(segment[0], 16)
            form = ">64H" if wide else ">64B"
            values = struct.unpack_from(form, segment, 1)
            tables.quantisers[number] = np.array(values, dtype=float)
            segment = segment[1 + struct.calcsize(form) :]
    elif marker == 0xFFC4:
        while segment:
            counts = segment[1:17]
            tables.codes[segment[0]] = _codes(counts, segment[17 : 17 + sum(counts)])
            segment = segment[17 + sum(counts) :]
    elif marker in (0xFFC0, 0xFFC1):
        tables.bits, tables.rows, tables.columns = struct.unpack_from(">BHH", segment)
        tables.quantiser = segment[8]
    elif marker == 0xFFDD:
        tables.restart = struct.unpack(">H", segment)[0]


def _codes(counts: bytes, values: bytes) -> dict[tuple[int, int], int]:
    codes, code, place = {}, 0, 0
    for length, count in enumerate(counts, start=1):
        for value in values[place : place + count]:
            codes[length, code] = value
            code += 1
        place += count
        code <<= 1
    return codes


class _Bits:
    def __init__(self, data: bytes) -> None:
        self._bits = "".join(f"{octet:08b}" for octet in data.replace(b"\xff\0", b"\xff"))
        self._at = 0

    def take(self, count: int) -> int:
        taken = self._bits[self._at : self._at + count]
        assert len(taken) == count, "the scan ends early"
        self._at += count
        return int(taken, 2) if count else 0

    def symbol(self, codes: dict[tuple[int, int], int]) -> int:
        code = 0
        for length in range(1, 17):
            code = 2 * code + self.take(1)
            if (length, code) in codes:
                return codes[length, code]
        raise AssertionError("no such code")

    def number(self, size: int) -> int:
        value = self.take(size)
        return value if not size or value >> (size - 1) else value - (1 << size) + 1


def _scan(data: bytes, tables: _Tables, codes: tuple[dict, dict]) -> np.ndarray:
    assert not tables.restart, "restart intervals are not needed here"
    bits = _Bits(data[: data.rindex(b"\xff\xd9")])
    down, across = -(-tables.rows // 8), -(-tables.columns // 8)
    blocks = np.zeros((down * across, 64))
    before = 0
    for block in blocks:
        before = _block(bits, codes, block, before)
    coefficients = np.zeros_like(blocks)
    coefficients[:, _ZIGZAG] = blocks * tables.quantisers[tables.quantiser]
    basis = _cosines()
    samples = np.einsum("ux,buv,vy->bxy", basis, coefficients.reshape(-1, 8, 8), basis)
    image = samples.reshape(down, across, 8, 8).swapaxes(1, 2).reshape(down * 8, across * 8)
    level = 1 << (tables.bits - 1)
    return np.clip(image + level, 0, 2 * level - 1)[: tables.rows, : tables.columns]


def _block(bits: _Bits, codes: tuple[dict, dict], block: np.ndarray, before: int) -> int:
    dc, ac = codes
    block[0] = before + bits.number(bits.symbol(dc))
    place = 1
    while place < 64:
        run, size = divmod(bits.symbol(ac), 16)
        if not size and run < 15:
            break
        place += run
        block[place] = bits.number(size)
        place += 1
    return int(block[0])


def _cosines() -> np.ndarray:
    u, x = np.mgrid[:8, :8]
    basis = np.cos((2 * x + 1) * u * np.pi / 16) / 2
    basis[0] /= np.sqrt(2)
    return basis
