"""Damages logs the way disks, loggers, spreadsheets and people do. A seeded generator in, damaged bytes out."""

from __future__ import annotations

import gzip
import io
import zipfile
from collections.abc import Callable

import numpy as np

CELLS = (
    "1,234.5", "1.234,5", "1e400", "-1e400", "1e-400", "5e-324", "inf", "-Infinity", "NaN", "nan(7)", "9.9E37",
    "9.91E37", "OL", "-OL", "OVLD", "", " ", "banana", "0x1F", "1_000", "١٢٣", "1\u00a0234", "−5", "12.3 mV", "3 kV",
    "5 furlong", "=1+1", "'", '"', '""', "\ufeff", "0000-00-00", "9999-12-31T23:59:60Z", "23:59:60", "24:00:00",
    "25:61", "12:00 PM", "31/31/2026", "29/02/2025", "1772755190", "1772755190000", "-1", "-0", "+", "-", ".", "e5",
    "1e", "99999999999999999999", "0.1234567890123456789", "\x1b[2J", "a" * 300, "2026-03-29 02:30:00",
    "2026-10-25 02:30:00+01:00", "TRUE", "#N/A", "None", "#", "//", "1;2", "1\t2", "µV", "\x00",
)  # fmt: skip
HEADERS = (
    "left_mV", "Left (mV)", "CH1 [V]", "left (furlong)", "time", "Time (ms)", "run", "", "temp_C", "left_mV", "unit",
    "date", "V", "µV", "x" * 500, "mV", "left;right", "=cmd()", "<script>", "time_s", "t", "left_MV", "A", "no",
)  # fmt: skip


def _lines(data: bytes) -> list[bytes]:
    return data.split(b"\n")


def _cell(data: bytes, rng: np.random.Generator) -> bytes:
    lines = _lines(data)
    for _ in range(int(rng.integers(1, 5))):
        k = int(rng.integers(len(lines)))
        for separator in (b";", b"\t", b",", b" "):
            if separator in lines[k]:
                cells = lines[k].split(separator)
                words = HEADERS if rng.random() < 0.2 else CELLS
                cells[int(rng.integers(len(cells)))] = words[int(rng.integers(len(words)))].encode()
                lines[k] = separator.join(cells)
                break
    return b"\n".join(lines)


def _column(data: bytes, rng: np.random.Generator) -> bytes:
    lines = _lines(data)
    word = CELLS[int(rng.integers(len(CELLS)))].encode()
    share = rng.choice([0.1, 0.5, 1.0])
    place = int(rng.integers(4))
    for k in range(1, len(lines)):
        cells = lines[k].split(b",")
        if place < len(cells) and rng.random() < share:
            cells[place] = word
            lines[k] = b",".join(cells)
    return b"\n".join(lines)


def _truncate(data: bytes, rng: np.random.Generator) -> bytes:
    return data[: int(rng.integers(len(data) + 1))]


def _bytes(data: bytes, rng: np.random.Generator) -> bytes:
    out = bytearray(data)
    for _ in range(int(rng.integers(1, 20))):
        if out:
            out[int(rng.integers(len(out)))] = int(rng.integers(256))
    return bytes(out)


def _insert(data: bytes, rng: np.random.Generator) -> bytes:
    at = int(rng.integers(len(data) + 1))
    stuff = (
        b"\0" * 700,
        b"\xff\xfe",
        b"\n\n\n",
        b"\r",
        b'"',
        b",,,,,",
        b"\x1a",
        b"\n# note: moved\n",
        b"1" * 5000,
        b"a," * 3000,
    )
    return data[:at] + stuff[int(rng.integers(len(stuff)))] + data[at:]


def _drop_lines(data: bytes, rng: np.random.Generator) -> bytes:
    lines = _lines(data)
    lo, hi = sorted(rng.integers(0, len(lines) + 1, 2).tolist())
    return b"\n".join(lines[:lo] + lines[hi:])


def _again(data: bytes, rng: np.random.Generator) -> bytes:
    lines = _lines(data)
    lo, hi = sorted(rng.integers(0, len(lines) + 1, 2).tolist())
    at = int(rng.integers(len(lines) + 1))
    return b"\n".join(lines[:at] + lines[lo:hi] + lines[at:])


def _shuffle(data: bytes, rng: np.random.Generator) -> bytes:
    lines = _lines(data)
    kind = int(rng.integers(3))
    body = lines[1:]
    if kind == 0:
        rng.shuffle(body)
    elif kind == 1:
        body = body[::-1]
    else:
        body = [body[0]] * len(body) if body else body
    return b"\n".join(lines[:1] + body)


def _encoding(data: bytes, rng: np.random.Generator) -> bytes:
    text = data.decode("utf-8", "replace")
    kind = ("utf-16", "utf-16-le", "utf-16-be", "utf-8-sig", "latin-1", "utf-32", "cp037")[int(rng.integers(7))]
    return text.encode(kind, "replace")


def _separators(data: bytes, rng: np.random.Generator) -> bytes:
    a, b = (
        (b",", b";"),
        (b",", b"\t"),
        (b".", b","),
        (b"\n", b"\r"),
        (b"\n", b"\r\n"),
        (b",", b", "),
        (b",", b" "),
        (b":", b"."),
    )[int(rng.integers(8))]
    return data.replace(a, b)


def _ragged(data: bytes, rng: np.random.Generator) -> bytes:
    lines = _lines(data)
    share = rng.choice([0.02, 0.3])
    return b"\n".join(
        line + b",7" if rng.random() < share else line.rsplit(b",", 1)[0] if rng.random() < share else line
        for line in lines
    )


def _packed(data: bytes, rng: np.random.Generator) -> bytes:
    if rng.random() < 0.5:
        return gzip.compress(data)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for k in range(int(rng.integers(1, 3))):
            archive.writestr(f"log{k}.csv", data)
    return out.getvalue()


def _joined(data: bytes, rng: np.random.Generator) -> bytes:
    return data + _truncate(data, rng)


MUTATORS: tuple[Callable[[bytes, np.random.Generator], bytes], ...] = (
    _cell, _cell, _cell, _column, _truncate, _bytes, _insert, _drop_lines, _again, _shuffle, _encoding, _separators,
    _ragged, _packed, _joined,
)  # fmt: skip


def mutate(data: bytes, rng: np.random.Generator) -> bytes:
    """Damage a log in one to three ways."""
    for _ in range(int(rng.integers(1, 4))):
        data = MUTATORS[int(rng.integers(len(MUTATORS)))](data, rng)
    return data
