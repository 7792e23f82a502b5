"""Bytes, archives and binary tables for `fresh_reading`. All data are invented."""

from __future__ import annotations

import bz2
import gzip
import io
import json
import lzma
import sqlite3
import tempfile
import zipfile
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.feather
import pyarrow.parquet
from fresh_reading import LEFT, RIGHT, ROWS, START, STEP_S, Sample, Truth, seconds, truth
from fresh_reading_texts import HEADER, TABLE, join, with_left

MOMENTS = [START + timedelta(seconds=k * STEP_S) for k in range(ROWS)]


def _zip(members: dict[str, bytes]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as z:
        for name, data in members.items():
            z.writestr(name, data)
    return held.getvalue()


def _bytes() -> dict[str, Sample]:
    """Text in other codes, torn or packed."""
    usual = (truth(),)
    text = join([HEADER, *TABLE])
    unix = text.replace("\r\n", "\n")
    mixed = "".join(line + ("\n", "\r\n")[k % 2] for k, line in enumerate(unix.splitlines()))
    lines = text.encode().splitlines(keepends=True)
    def unread(k: int) -> Truth:
        """One row is not observed."""
        return truth(*(np.where(np.arange(ROWS) == k, np.nan, v) for v in (LEFT, RIGHT)))

    short = (truth(LEFT[:-1], RIGHT[:-1]),)
    last_right = RIGHT.copy()
    last_right[-1] = np.nan
    micro = join([["Gerät: Prüfplatz 3"], ["Zeit", "Links [µV]", "Rechts [µV]"], *([r[0], f"{float(r[1]) * 1000:.0f}", f"{float(r[2]) * 1000:.0f}"] for r in TABLE)])
    german = (truth(names=("Links", "Rechts")),)
    torn = Sample(text.encode()[:-4], (truth(LEFT, last_right), *short))
    return {
        "plain": Sample(text.encode(), usual),
        "BOM": Sample(b"\xef\xbb\xbf" + text.encode(), usual),
        "BOM in the middle": Sample(b"".join(lines[:9]) + b"\xef\xbb\xbf" + b"".join(lines[9:]), usual, may_refuse=True),
        "UTF-16 LE": Sample(text.encode("utf-16"), usual),
        "UTF-16 BE": Sample(b"\xfe\xff" + text.encode("utf-16-be"), usual),
        "UTF-16, no BOM": Sample(text.encode("utf-16-le"), usual, may_refuse=True),
        "UTF-32": Sample(text.encode("utf-32"), usual, may_refuse=True),
        "cp1252": Sample(micro.encode("cp1252"), german),
        "Greek mu": Sample(micro.replace("µ", "\u03bc").encode(), german),
        "mu read twice": Sample(micro.encode().decode("cp1252").encode(), german, may_refuse=True),
        "mu lost": Sample(micro.replace("µ", "\ufffd").encode(), german, may_refuse=True, knows={"unit": "uV"}, needs_ask=True),
        "old line ends": Sample(text.replace("\r\n", "\r").encode(), usual),
        "LF CR": Sample(text.replace("\r\n", "\n\r").encode(), usual),
        "mixed ends": Sample(mixed.encode(), usual),
        "CR CR LF": Sample(text.replace("\r\n", "\r\r\n").encode(), usual),
        "no last end": Sample(text.rstrip().encode(), usual),
        "last line torn": torn,
        "last number torn": Sample(text.encode().rstrip()[:-1], (truth(LEFT, last_right), *short, truth(LEFT, np.append(RIGHT[:-1], -3.0)))),
        "NUL block": Sample(b"".join(lines[:9]) + b"\0" * 512 + b"".join(lines[9:]), (*usual, unread(8)), may_refuse=True),
        "NUL at the end": Sample(text.encode() + b"\0" * 512, usual),
        "NUL in a line": Sample(b"".join(lines[:8]) + lines[8][:24] + b"\0" * 64 + b"\r\n" + b"".join(lines[9:]), (truth(np.append(LEFT[:7], [np.nan, *LEFT[8:]]), np.append(RIGHT[:7], [np.nan, *RIGHT[8:]])), truth(np.delete(LEFT, 7), np.delete(RIGHT, 7), np.delete(np.arange(ROWS) * 10.0, 7))), may_refuse=True),
        "control Z": Sample(text.encode() + b"\x1a", usual),
        "form feed": Sample(b"".join(lines[:9]) + b"\x0c" + b"".join(lines[9:]), usual, may_refuse=True),
        "garbled line": Sample(b"".join(lines[:8]) + b"\xff\xfe\x80;\x81\r\n" + b"".join(lines[8:]), (*usual, truth(*(np.insert(v, 7, x) for v, x in ((LEFT, np.nan), (RIGHT, np.nan), (seconds(), 65.0))))), may_refuse=True),
        "two lines run together": Sample(b"".join(lines[:8]) + lines[8].rstrip() + b"".join(lines[9:]), (truth(), truth(*(np.delete(v, 8) for v in (*unread(7).volts.values(), seconds())), scale=1.0)), may_refuse=True),
        "a digit lost in a number": Sample(text.replace(TABLE[7][1], "5..1", 1).encode(), (with_left(7, np.nan),), may_refuse=True),
        "gz": Sample(gzip.compress(text.encode()), usual, ".csv.gz"),
        "gz, two parts": Sample(gzip.compress(b"".join(lines[:9])) + gzip.compress(b"".join(lines[9:])), usual, ".csv.gz"),
        "gz, torn": Sample(gzip.compress(text.encode())[:-12], (), ".csv.gz", may_refuse=True),
        "gz by content only": Sample(gzip.compress(text.encode()), usual, ".csv"),
        "bz2": Sample(bz2.compress(text.encode()), usual, ".csv.bz2", may_refuse=True),
        "xz": Sample(lzma.compress(text.encode()), usual, ".csv.xz", may_refuse=True),
        "zip": Sample(_zip({"log.csv": text.encode()}), usual, ".zip"),
        "zip, two logs": Sample(_zip({"a.csv": text.encode(), "b.csv": text.encode()}), (), ".zip"),
        "zip with a note": Sample(_zip({"readme.txt": b"Night soak, bench 3.\n", "log.csv": text.encode()}), usual, ".zip", may_refuse=True),
        "zip of a desk computer": Sample(_zip({"log.csv": text.encode(), "__MACOSX/._log.csv": b"\0\5\26\7" + b"\0" * 60}), usual, ".zip"),
        "zip, folder": Sample(_zip({"run/": b"", "run/log.csv": text.encode()}), usual, ".zip"),
        "empty": Sample(b"", ()),
        "header only": Sample(lines[0], ()),
        "one row": Sample(b"".join(lines[:2]), ()),
        "picture": Sample(b"\x89PNG\r\n\x1a\n" + bytes(range(256)), ()),
        "web page": Sample(b"<!DOCTYPE html><html><body><h1>404 Not found</h1></body></html>", ()),
        "web table": Sample(("<table><tr><th>Time</th><th>Left [mV]</th><th>Right [mV]</th></tr>" + "".join("<tr>" + "".join(f"<td>{c}</td>" for c in r) + "</tr>" for r in TABLE) + "</table>").encode(), usual, ".xls", may_refuse=True),
        "pdf": Sample(b"%PDF-1.7\n" + bytes(range(200)), ()),
        "prose": Sample(b"Bench 3: the left side jumped twice tonight.\nI tapped the relay.\n" * 20, (), ".txt"),
    }  # fmt: skip


def _tables() -> dict[str, Sample]:
    """Columnar files, frames of objects, and data bases."""
    usual = (truth(),)
    plain = {"time": pa.array(MOMENTS, pa.timestamp("us")), "Left [mV]": pa.array(LEFT), "Right [mV]": pa.array(RIGHT)}

    def parquet(**columns: Any) -> bytes:
        held = io.BytesIO()
        pa.parquet.write_table(pa.table(plain | {k.replace("_mV", " [mV]"): v for k, v in columns.items()}), held)
        return held.getvalue()

    def made(**columns: Any) -> Sample:
        return Sample(parquet(**columns), usual, ".parquet")

    counts = pa.table(
        {"time": plain["time"], "Left": pa.array(np.round(LEFT * 10).astype(np.int16)), "Right": pa.array(np.round(RIGHT * 10).astype(np.int16))},
        schema=pa.schema([pa.field("time", pa.timestamp("us")), *(pa.field(n, pa.int16(), metadata={"unit": "mV", "scale": "0.1"}) for n in ("Left", "Right"))]),
    )
    held = io.BytesIO()
    pa.parquet.write_table(counts, held)
    feather, frame = io.BytesIO(), io.BytesIO()
    pa.feather.write_feather(pa.table(plain), feather)
    import pandas as pd

    pd.DataFrame({"Left [mV]": LEFT, "Right [mV]": RIGHT}, index=pd.DatetimeIndex(MOMENTS)).to_parquet(frame)
    rows = [{"time": m.isoformat(), "left_mV": float(a), "right_mV": float(b)} for m, a, b in zip(MOMENTS, LEFT, RIGHT, strict=True)]
    lower = (truth(names=("left", "right")),)
    saved = io.BytesIO()
    np.save(saved, np.column_stack([np.arange(ROWS) * 10.0, LEFT]))
    float32 = truth(LEFT.astype(np.float32).astype(float), RIGHT.astype(np.float32).astype(float))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "x.db"
        base = sqlite3.connect(path)
        base.execute("create table log (time text, left real)")
        base.commit()
        base.close()
        data_base = path.read_bytes()
    text = "\n".join(" ".join(f"{k}={v}" for k, v in r.items()) for r in rows)
    return {
        "parquet": made(),
        "parquet, zone": Sample(parquet(time=pa.array([m - timedelta(hours=1) for m in MOMENTS], pa.timestamp("us", tz="Europe/Berlin"))), (truth(start=START - timedelta(hours=1)),), ".parquet"),
        "parquet, UTC": made(time=pa.array(MOMENTS, pa.timestamp("ms", tz="UTC"))),
        "parquet, nanoseconds": made(time=pa.array(MOMENTS, pa.timestamp("ns"))),
        "parquet, decimals": made(Left_mV=pa.array([Decimal(f"{x:.1f}") for x in LEFT], pa.decimal128(9, 1))),
        "parquet, dictionary of text": made(Left_mV=pa.array([f"{x:.1f}" for x in LEFT]).dictionary_encode()),
        "parquet, text numbers": made(Left_mV=pa.array([f"{x:.1f}" for x in LEFT])),
        "parquet, text stamps": made(time=pa.array([m.isoformat() for m in MOMENTS])),
        "parquet, float32": Sample(parquet(Left_mV=pa.array(LEFT.astype(np.float32)), Right_mV=pa.array(RIGHT.astype(np.float32))), (float32,), ".parquet"),
        "parquet, half": Sample(parquet(Left_mV=pa.array(LEFT.astype(np.float16)), Right_mV=pa.array(RIGHT.astype(np.float16))), (truth(LEFT.astype(np.float16).astype(float), RIGHT.astype(np.float16).astype(float)),), ".parquet", may_refuse=True),
        "parquet, nulls": Sample(parquet(Left_mV=pa.array([None if k == 7 else x for k, x in enumerate(LEFT)])), (with_left(7, np.nan),), ".parquet"),
        "parquet, duration": Sample(parquet(time=pa.array([timedelta(seconds=k * 10) for k in range(ROWS)])), (truth(start=None),), ".parquet"),
        "parquet, time of day": Sample(parquet(time=pa.array([m.time() for m in MOMENTS])), (truth(start=None),), ".parquet"),
        "parquet, date and time": Sample(parquet(time=pa.array([m.time() for m in MOMENTS]), date=pa.array([m.date() for m in MOMENTS])), usual, ".parquet"),
        "parquet, integers and scale": Sample(held.getvalue(), (truth(), ), ".parquet", may_refuse=True, knows={"volts_per_count": 1e-4}),
        "parquet, epoch integers": made(time=pa.array([int((m - START).total_seconds() * 1000) + 1931241600000 for m in MOMENTS])),
        "parquet, index": Sample(frame.getvalue(), usual, ".parquet"),
        "parquet, lists": Sample(parquet(Left_mV=pa.array([[x, x] for x in LEFT])), (truth(None, RIGHT),), ".parquet", may_refuse=True),
        "parquet, newest first": Sample(parquet(time=plain["time"][::-1], Left_mV=plain["Left [mV]"][::-1], Right_mV=plain["Right [mV]"][::-1]), usual, ".parquet"),
        "parquet, truncated": Sample(parquet()[:-30], (), ".parquet"),
        "feather": Sample(feather.getvalue(), usual, ".feather"),
        "JSON lines": Sample("\n".join(json.dumps(r) for r in rows).encode(), lower, ".jsonl", may_refuse=True),
        "JSON array": Sample(json.dumps(rows).encode(), lower, ".json", may_refuse=True),
        "key=value lines": Sample(text.encode(), lower, ".log", may_refuse=True),
        "numpy array": Sample(saved.getvalue(), (), ".npy"),
        "data base": Sample(data_base, (), ".db"),
    }  # fmt: skip


def OTHER() -> dict[str, Sample]:
    """Give all other files by name."""
    return _bytes() | _tables()
