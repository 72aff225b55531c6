"""Fragments into frames on bytes laid out by hand (PS3.5 A.4)."""

import struct

import pytest

from annot.loops.byte_source import MemoryBytes
from annot.loops.frame_index import index_frames

START = b"\xff\xd8"
END_MARK = struct.pack("<HHI", 0xFFFE, 0xE0DD, 0)


def item(value: bytes) -> bytes:
    return struct.pack("<HHI", 0xFFFE, 0xE000, len(value)) + value


def pixel_data(fragments: list[bytes], offsets: tuple[int, ...] = ()) -> bytes:
    table = struct.pack(f"<{len(offsets)}I", *offsets)
    return b"before" + item(table) + b"".join(item(f) for f in fragments) + END_MARK


def frames_of(content: bytes, frames: int, *, one_fragment_each: bool = False, extended=()):
    """Index the content; give each frame's bytes and the fault."""
    index = index_frames(
        MemoryBytes(content),
        len(b"before"),
        frames=frames,
        one_fragment_each=one_fragment_each,
        extended_offsets=extended,
    )
    joined = [
        b"".join(content[part.offset : part.offset + part.length] for part in frame)
        for frame in index.frames
    ]
    return joined, index.fault


MARKLESS = [b"aa", b"bbbb", b"cc", b"dddd"]  # each item takes 8 bytes and its value
PAIRS = (0, 22)


def test_an_offset_table_rules_where_no_start_mark_helps():
    assert frames_of(pixel_data(MARKLESS, PAIRS), 2) == ([b"aabbbb", b"ccdddd"], None)
    assert frames_of(pixel_data(MARKLESS), 2, extended=PAIRS) == ([b"aabbbb", b"ccdddd"], None)


def test_an_offset_table_rules_over_start_marks():
    fragments = [START + b"1", START + b"thumbnail", START + b"2", b"2"]
    content = pixel_data(fragments, (0, 8 + 3 + 8 + 11))
    joined, fault = frames_of(content, 2)
    assert joined == [START + b"1" + START + b"thumbnail", START + b"22"]
    assert fault is None


@pytest.mark.parametrize(
    "offsets",
    [(0, 8), (22, 0), (2, 22), (0, 0), (0, 9999), (0,), (0, 10, 22)],
    ids=["inside", "backwards", "late", "twice", "beyond", "too few", "too many"],
)
def test_a_table_that_does_not_fit_is_left_aside(offsets):
    fragments = [START, b"bbbb", START, b"dddd"]
    joined, fault = frames_of(pixel_data(fragments, offsets), 2)
    assert joined == [START + b"bbbb", START + b"dddd"]
    assert fault is None


def test_frames_beyond_a_cut_are_known_from_the_table():
    content = pixel_data(MARKLESS, PAIRS)
    between = content[: content.index(item(b"cc"))]
    assert frames_of(between, 2) == (
        [b"aabbbb"],
        "the file is cut short and holds 1 whole frames of the 2 it claims",
    )
    joined, _ = frames_of(between + item(b"cc")[:9], 2)  # the next frame has begun
    assert joined == [b"aabbbb"]


def test_a_frame_whose_last_fragment_is_cut_is_not_handed_out():
    content = pixel_data(MARKLESS, PAIRS)
    joined, fault = frames_of(content[: content.index(b"dddd") + 2], 2)
    assert joined == [b"aabbbb"]
    assert "cut short" in str(fault)


def test_a_missing_end_mark_is_no_cut():
    content = pixel_data(MARKLESS, PAIRS)[: -len(END_MARK)]
    assert frames_of(content, 2) == ([b"aabbbb", b"ccdddd"], None)


def test_damage_between_items_ends_the_walk():
    content = pixel_data([START + b"1", START + b"2"])
    broken = content.replace(item(START + b"2"), b"\0" * 11)
    joined, fault = frames_of(broken, 2)
    assert joined == [START + b"1"]
    assert "cut short" in str(fault)


def test_an_encoding_of_one_fragment_each_needs_no_marks():
    content = pixel_data(MARKLESS)
    joined, fault = frames_of(content, 6, one_fragment_each=True)
    assert joined == MARKLESS
    assert fault == "the header claims 6 frames but the file holds 4"
    joined, fault = frames_of(content, 3, one_fragment_each=True)
    assert joined == MARKLESS[:3]
    assert fault == "the header claims 3 frames but the file holds 4"


def test_a_single_image_takes_all_fragments_even_if_its_mark_is_split():
    fragments = [START[:1], START[1:] + b"rest"]
    assert frames_of(pixel_data(fragments), 1) == ([START + b"rest"], None)


def test_a_second_image_behind_a_single_one_is_surplus():
    joined, fault = frames_of(pixel_data([START + b"1", START + b"2"]), 1)
    assert joined == [START + b"1"]
    assert fault == "the header claims 1 frames but the file holds 2"


IMAGE = START + b"\xff"
ENDED = b"\xff\xd9"


def test_frames_that_share_a_fragment_are_cut_apart():
    one, two, three = IMAGE + b"1" + ENDED, IMAGE + b"22" + ENDED, IMAGE + b"3" + ENDED
    assert frames_of(pixel_data([one + two + three]), 3) == ([one, two, three], None)
    padded, fault = frames_of(pixel_data([one + b"\0" + two, three]), 3)
    assert (padded, fault) == ([one + b"\0", two, three], None)
    # the second frame begins in one fragment and ends in the next
    joined, fault = frames_of(pixel_data([one + two[:5], two[5:] + three]), 3)
    assert (joined, fault) == ([one, two, three], None)


def test_a_frame_that_is_nowhere_is_not_made_up():
    one = IMAGE + b"1" + ENDED
    joined, fault = frames_of(pixel_data([one + one]), 3)
    assert joined == [one, one]
    assert fault == "the header claims 3 frames but the file holds 2"


def test_nothing_there_is_no_frame():
    assert frames_of(b"before", 1)[0] == []
    assert frames_of(b"before" + END_MARK, 2)[0] == []
    assert frames_of(pixel_data([]), 1)[0] == []
