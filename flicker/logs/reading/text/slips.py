"""Lines of a growing log that cannot be read as those before: which can be kept without some of their cells."""

from __future__ import annotations

from flicker.logs.errors import LogError
from flicker.logs.reading.text import odd_rows


def text_of(line: bytes) -> str:
    """A line without its end."""
    return line.decode("utf-8", "replace").rstrip("\r\n")


def is_row(mender: odd_rows.Mender, line: bytes) -> bool:
    """Whether a line has the shape of a row, or is one that is left out."""
    if b"\0" in line:
        return False
    tally = odd_rows.Tally()
    try:
        mender.mended(line, tally)
    except LogError:
        return False
    return not tally.count[odd_rows.Left.UNREAD]


def likely_rows(mender: odd_rows.Mender, block: bytes) -> bool:
    """Whether all lines are likely rows of the layout's width."""
    layout = mender.layout
    if b"\0" in block or b'"' in block or layout.delimiter in ("", " ") or layout.commas is not None:
        return b"\0" not in block and all(is_row(mender, line) for line in block.splitlines(keepends=True))
    return block.count(layout.delimiter.encode()) == (layout.width - 1) * block.count(b"\n")


def heading_in(mender: odd_rows.Mender, block: bytes) -> int | None:
    """Where lines begin that end in another heading than the one read by; None where there are none."""
    begin, at = -1, 0
    for line in block.splitlines(keepends=True):
        lead = line.lstrip(b' \t"')[:1]
        if not lead or lead.isdigit() or lead in b"+-.\0":
            begin = -1
        else:
            begin = at if begin < 0 else begin
            if mender.another_heading(text_of(line)):
                return begin
        at += len(line)
    return None


def can_be_read(mender: odd_rows.Mender, line: bytes) -> bool:
    """Whether a line can be read, with or without some of its cells."""
    if not is_row(mender, line):
        return False
    text = text_of(line)
    cells = mender.cells_of(text)
    if not text.strip() or mender.left_out(text, cells) is not None:
        return True
    return mender.placed(cells) and _bad_cells(mender, cells) is not None


def with_blanks(mender: odd_rows.Mender, line: bytes) -> tuple[bytes, dict[str, str]] | None:
    """A row without the cells that are no numbers, and those cells by channel; None where nothing is left of it."""
    cells = mender.cells_of(text_of(line))
    bad = _bad_cells(mender, cells)
    if not bad or not mender.placed(cells):
        return None
    found = {
        channel.name: cells[channel.position].strip() for channel in mender.plan.channels if channel.position in bad
    }
    return mender.without(cells, bad) + b"\n", found


def _bad_cells(mender: odd_rows.Mender, cells: list[str]) -> list[int] | None:
    """Cells of channels that are no numbers; None where no channel has a number and one of the cells may be one."""
    if len(cells) != mender.layout.width:
        return []
    bad = mender.unreadable(cells)
    words = not any(any(sign.isdigit() for sign in cells[k]) for k in bad)
    return bad if words or len(bad) < len(mender.plan.channels) else None
