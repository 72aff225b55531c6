"""Reads: who measured what, as a file and as frozen types."""

from annot.reads.conversion import file_of, read_of
from annot.reads.object_parts import parse_request
from annot.reads.read import Conditions, LoopRead, Read, ViewOverride
from annot.reads.read_file import dump, json_schema, load, parse

__all__ = [
    "Conditions",
    "LoopRead",
    "Read",
    "ViewOverride",
    "dump",
    "file_of",
    "json_schema",
    "load",
    "parse",
    "parse_request",
    "read_of",
]
