"""Workbooks: the one sheet of an .xlsx file as text, for the plan of text logs. Needs the extra 'xlsx' (openpyxl)."""

from __future__ import annotations

import csv
import datetime as dt
import io
import zipfile
from typing import IO, Any

from flicker.logs.errors import LogError
from flicker.logs.reading.words.numerals import COMMA, GROUPED_COMMA, GROUPED_POINT

MOST_BYTES = 1 << 30  # of a workbook unpacked; common practice, no source


def as_text(name: str, handle: IO[bytes], scratch: IO[bytes]) -> IO[bytes]:
    """Write the rows of a workbook's sheet to a file as text, tabs between cells, and return that file at its beginning.

    Numbers keep their digits and get a decimal point that cannot be taken for a thousands separator; dates, times of day
    and spans of time are written as ISO 8601 and clocks have them. Formulas give the value that was saved.

    Raises
    ------
    LogError
        If the reader of workbooks is not installed, the file is damaged or holds several sheets, or a number is text.
    """
    try:
        from openpyxl import load_workbook
    except ImportError:
        raise LogError(
            f"{name} is a spreadsheet; export the sheet as CSV, or have it read: in the clone, pip install '.[xlsx]'."
        ) from None
    if sum(member.file_size for member in zipfile.ZipFile(handle).infolist()) > MOST_BYTES:
        raise LogError(f"{name} expands to more than {MOST_BYTES >> 20} MiB; export the sheet as CSV.")
    try:
        book: Any = load_workbook(handle, read_only=True, data_only=True)
        sheets = [
            sheet
            for sheet in book.worksheets
            if any(cell is not None for row in sheet.iter_rows(max_row=50, values_only=True) for cell in row)
        ]
        if len(sheets) != 1:
            inside = ", ".join(f'"{sheet.title}"' for sheet in sheets[:4]) or "nothing"
            raise LogError(f"{name} holds {len(sheets)} sheets with cells ({inside}); leave the one with the log.")
        text = io.TextIOWrapper(scratch, encoding="utf-8", newline="")
        writer = csv.writer(text, delimiter="\t", lineterminator="\n")
        for number, row in enumerate(sheets[0].iter_rows(values_only=True), start=1):
            writer.writerow([_cell(value, name, number) for value in row])
        text.flush()
        text.detach()
    except LogError:
        raise
    except Exception as error:  # the reader of workbooks has no error of its own for what is damaged
        raise LogError(
            f"{name} is damaged: the sheet cannot be read ({type(error).__name__}); save it again."
        ) from None
    scratch.seek(0)
    return scratch


def _cell(value: Any, name: str, row: int) -> str:
    """A cell as text, numbers with a decimal point."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value)
    if isinstance(value, float):
        whole = repr(value)
        return whole if "e" in whole or value.is_integer() else f"{whole}0"
    if isinstance(value, dt.datetime):
        return value.isoformat(sep=" ")
    if isinstance(value, dt.timedelta):
        seconds, micros = divmod(value // dt.timedelta(microseconds=1), 1_000_000)
        return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}.{micros:06d}"
    if isinstance(value, (dt.date, dt.time)):
        return value.isoformat()
    bare = str(value).strip()
    if "," in bare and (COMMA.fullmatch(bare) or GROUPED_POINT.fullmatch(bare) or GROUPED_COMMA.fullmatch(bare)):
        raise LogError(
            f'{name}, row {row}: "{bare[:40]}" is text, not a number; turn it into a number, or export the sheet as CSV.'
        )
    return str(value)
