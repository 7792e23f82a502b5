"""Where a page goes: a terminal as wide as it is, or a pipe without hard line ends, trailing blanks or odd characters."""

from __future__ import annotations

import codecs
import io
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager

from rich.cells import cell_len
from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

NARROW = 76  # characters: below this a table's columns stand below each other
WIDEST = 120  # characters of a strip; names longer than a third of it stand on a line of their own; a choice
ENDLESS = 20_000  # characters of a line in a pipe: no sentence is that long
PLAIN = str.maketrans(
    {"─": "-", "╌": "-", "━": "=", "▬": "=", "│": "|", "┃": "#", "╷": "'", "·": ".", "◆": "*", "●": "o"}
    | {
        "“": '"',
        "”": '"',
        "‘": "'",
        "’": "'",
        "±": "+/-",
        "µ": "u",
        "×": "x",
        "≤": "<=",
        "≥": ">=",
        "−": "-",
        "…": "...",
    }
)


@contextmanager
def page(console: Console | None = None, keep: Callable[[str], object] | None = None) -> Iterator[Console]:
    """Open a page: a console to print on. What is printed appears at the end, and is handed to ``keep``."""
    if console is not None:
        yield console
        return
    out = sys.stdout
    encoding = codecs.lookup(getattr(out, "encoding", None) or "utf-8").name
    terminal = out.isatty()
    if terminal and encoding == "utf-8":
        own = Console(highlight=False, soft_wrap=False, emoji=False)
        with own.capture() as captured:
            yield own
        text = captured.get()
    else:
        lines = io.StringIO()
        width = Console().width if terminal else ENDLESS
        yield Console(file=lines, highlight=False, soft_wrap=False, emoji=False, width=width, color_system=None)
        text = plain("\n".join(line.rstrip() for line in lines.getvalue().split("\n")), encoding)
    out.write(text)
    if keep is not None:
        keep(text)


def warn(out: Console, cautions: Sequence[str]) -> None:
    """Print what the result rests on, a line each."""
    for caution in cautions:
        out.print(Text("! ", style="bold dark_orange3") + Text(caution))


def plain(text: str, encoding: str) -> str:
    """The text in characters that the encoding knows."""
    if encoding == "utf-8":
        return text
    return text.translate(PLAIN).encode(encoding, errors="replace").decode(encoding)


def is_narrow(console: Console) -> bool:
    """Whether columns must stand below each other."""
    return console.width < NARROW


def facts(rows: Sequence[tuple[str, Text]], console: Console, *, style: str = "bold") -> RenderableType:
    """Names and what is said of each: side by side, or below each other where it is narrow."""
    widest = max((cell_len(line) for name, _ in rows for line in name.split("\n")), default=0)
    if is_narrow(console) or 3 * widest > min(console.width, WIDEST):
        named = [(Text(name, style=style) if name else None, Padding.indent(words, 2)) for name, words in rows]
        return Group(*(part for pair in named for part in pair if part is not None))
    grid = Table.grid(padding=(0, 2))
    grid.add_column(style=style, no_wrap=True)
    grid.add_column()
    for name, words in rows:
        grid.add_row(name, words)
    return grid
