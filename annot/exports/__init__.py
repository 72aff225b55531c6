"""What leaves: tables, pictures, files written whole."""

from annot.exports.atomic_file import CSV, CURVE, JSON, PNG, write_whole
from annot.exports.csv_file import csv_text
from annot.exports.table import COLUMNS, Cell, Column, TableEntry, measurement_row, rows_of

__all__ = [
    "COLUMNS",
    "CSV",
    "CURVE",
    "JSON",
    "PNG",
    "Cell",
    "Column",
    "TableEntry",
    "csv_text",
    "measurement_row",
    "rows_of",
    "write_whole",
]
