"""Blocks of long logs, kept on disk when asked, so that a second look at a week of readings takes a second.

One file for each log, beside it or in a folder of its own: the blocks, the samples that stood out, and what reading the
log brought to light. It is used only where the log's file, the way it is read and this program are the same as when it
was written, and is written whole or not at all. What the file does not hold is read from the log again.
"""

from __future__ import annotations

import dataclasses
import hashlib
import json
import os
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import IO, Any

import numpy as np

from flicker._version import __version__
from flicker.logs import clock_repairs
from flicker.logs.beside import MIB, file_key, kept_path
from flicker.logs.model import Batch, Gap, Log, LogError, Run, Source
from flicker.logs.reading import open_source, read_log, wishes_of, with_legs
from flicker.logs.reading.samples.entries import Entry
from flicker.logs.sampling import RUN_GAP_S
from flicker.logs.used_columns import by_roles
from flicker.logs.writing import whole_file
from flicker.signals.blocks import ChannelBlocks, RunBlocks
from flicker.signals.guard.figures import CHANNEL_ARRAYS, RULES, ChannelFigures, StretchFigures
from flicker.signals.mark_windows import Hands
from flicker.signals.spill_buffer import Stash

FORM = 6  # of the file; raised where its content changes its meaning; by definition
ROWS = "stash.rows"
ROWS_DIGEST = "stash.rows.sha256"

_SHARED = ("row", "rows", "begin_s", "end_s", "after_gap")
_OWN = tuple(field.name for field in dataclasses.fields(ChannelBlocks))
_SEGMENTS = ("begin_s", "end_s", "kind")
_FACTS = ("name", "channels", "notes", "cadence_s", "rows", "reach_s", "wall_s", "roles", "unread")


class CachedSource:
    """A file of which reading again is put off until samples are asked for that were not kept."""

    def __init__(self, path: Path, wishes: Any, facts: dict[str, Any]) -> None:
        self._path, self._wishes = path, wishes
        self._source: Source | None = None
        self.name = str(facts["name"])
        self.channels: tuple[str, ...] = tuple(facts["channels"])
        self.start: datetime | None = datetime.fromisoformat(facts["start"]) if facts["start"] else None
        self.notes: tuple[str, ...] = tuple(facts["notes"])
        self.cadence_s = float(facts["cadence_s"])
        self.rows: int | None = facts["rows"]
        self.reach_s: float | None = facts["reach_s"]
        self.wall_s: float | None = facts["wall_s"]
        self.roles: tuple[str, ...] = tuple(facts["roles"] or ())
        self.unread = int(facts["unread"] or 0)
        self.entries = tuple(Entry(*item) for item in facts["entries"])

    @property
    def source(self) -> Source:
        """The file, opened when first needed."""
        if self._source is None:
            self._source = open_source(self._path, self._wishes)
        return self._source

    def batches(
        self, first: int = 0, last: int | None = None, *, time: bool = True, channels: Sequence[int] | None = None
    ) -> Iterator[Batch]:
        """Hand out rows ``first`` to ``last`` (half open)."""
        return self.source.batches(first, last, time=time, channels=channels)

    def fingerprint(self) -> str | None:
        """Return the SHA-256 of the file."""
        with open(self._path, "rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()


class BlockCache:
    """Where blocks are kept.

    Parameters
    ----------
    folder : path, optional
        Folder for all of them, made where it is missing; beside each log where not given.
    verify : bool
        Whether all bytes of a log are compared with those of the first reading, not only its ends, size and time.
    """

    def __init__(self, folder: str | os.PathLike[str] | None = None, *, verify: bool = False) -> None:
        self.folder = None if folder is None else Path(folder)
        self.verify = verify

    def place(self, path: str | os.PathLike[str]) -> Path:
        """The file in which the blocks of a log are kept."""
        return kept_path(path, self.folder, "blocks.npz")

    def read(
        self,
        path: str | os.PathLike[str],
        *,
        run_gap_s: float = RUN_GAP_S,
        differences: Mapping[str, tuple[str, str]] | None = None,
        **options: Any,
    ) -> Log:
        """Open a log as `read_log` does; one whose blocks are kept is not read again until it has to be."""
        options["channels"], differences = with_legs(options.get("channels"), differences)
        wishes = wishes_of(**options)
        head = self._head(path, wishes)
        if head is None:
            return read_log(path, run_gap_s=run_gap_s, differences=differences, **options)
        source = CachedSource(Path(path), wishes, head["source"])
        return by_roles(source, run_gap_s=run_gap_s, path=Path(path), reader=repr(wishes), differences=differences)

    def _head(self, path: str | os.PathLike[str], wishes: Any) -> dict[str, Any] | None:
        try:
            with np.load(self.place(path), allow_pickle=False) as kept:
                head: dict[str, Any] = json.loads(str(kept["head"]))
                if str(kept["head.digest"]) != hashlib.sha256(str(kept["head"]).encode()).hexdigest():
                    return None
            return head if head["file"] == self._key(Path(path), repr(wishes)) else None
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
            return None

    def _key(self, path: Path, reader: str) -> str:
        told = f"{file_key(path, whole=self.verify)} {reader} {__version__} {FORM} {RULES} {np.__version__}"
        return hashlib.sha256(told.encode()).hexdigest()

    @staticmethod
    def _use(log: Log, stash: Stash, hands: Mapping[str, Hands]) -> str:
        columns = getattr(log.source, "uses", log.channels)
        levels = (stash.swing_V, stash.release_V, stash.tail_s)
        marks = [(name, item.touched.tolist(), item.windows.tolist(), item.breaks_s) for name, item in hands.items()]
        return repr((columns, log.source.notes, log.source.start, log.run_gap_s, *levels, marks))

    def load(self, log: Log, stash: Stash, hands: Mapping[str, Hands] | None = None) -> list[RunBlocks] | None:
        """Blocks of a log as they were kept with the same ``hands``, or None; the log then knows its runs."""
        if log.path is None:
            return None
        try:
            with np.load(self.place(log.path), allow_pickle=False) as kept:
                head = json.loads(str(kept["head"]))
                if head["file"] != self._key(log.path, log.reader) or head["use"] != self._use(log, stash, hands or {}):
                    return None
                sizes, firsts = kept["stash.size"].tolist(), kept["stash.first"].tolist()
                runs = tuple(_run_from(item) for item in head["runs"])
                blocks = [
                    RunBlocks(
                        run=run,
                        stretch=k,
                        offset_s=0.0,
                        **{name: kept[f"{k}.{name}"] for name in _SHARED},
                        channels=tuple(
                            ChannelBlocks(**{name: kept[f"{k}.{c}.{name}"] for name in _OWN})
                            for c in range(len(log.channels))
                        ),
                        stash=stash,
                        guard=_guard_from(kept, k, len(log.channels)),
                    )
                    for k, run in enumerate(runs)
                ]
                repairs = {name: kept[f"clock.{name}"] for name in clock_repairs.NAMES}
            if firsts:
                file, at = _open_rows(self.place(log.path))
                stash.lend(file, at, firsts, sizes, head["stash"])
        except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile):
            return None
        log.restore(runs, clock_repairs.Repairs.of(repairs))
        return blocks

    def save(
        self, log: Log, blocks: Sequence[RunBlocks], stash: Stash, hands: Mapping[str, Hands] | None = None
    ) -> None:
        """Keep the blocks of a log.

        Raises
        ------
        LogError
            If the file cannot be written.
        """
        if log.path is None:
            return
        source: Any = log.source
        while hasattr(source, "inner"):  # columns made of others: what is kept of the file is the file's own
            source = source.inner
        facts = {name: getattr(source, name, None) for name in _FACTS}
        facts["entries"] = [dataclasses.astuple(item) for item in getattr(source, "entries", ())]
        facts["start"] = source.start.isoformat() if source.start else None
        head = {
            "file": self._key(log.path, log.reader),
            "use": self._use(log, stash, hands or {}),
            "source": facts,
            "runs": [_run_to(item.run) for item in blocks],
            "stash": stash.dtypes,
        }
        told = json.dumps(head)
        arrays: dict[str, Any] = {
            "head": np.array(told),
            "head.digest": np.array(hashlib.sha256(told.encode()).hexdigest()),
        }
        for k, item in enumerate(blocks):
            arrays |= {f"{k}.{name}": getattr(item, name) for name in _SHARED}
            for c, part in enumerate(item.channels):
                arrays |= {f"{k}.{c}.{name}": getattr(part, name) for name in _OWN}
            if item.guard is not None:
                arrays |= {f"{k}.guard.{name}": getattr(item.guard, name) for name in _SEGMENTS}
                for c, figures in enumerate(item.guard.channels):
                    arrays |= {f"{k}.{c}.guard.{name}": value for name, value in figures.arrays()}
        arrays["stash.first"] = np.array(stash.first, dtype=np.int64)
        arrays["stash.size"] = np.array(stash.size, dtype=np.int64)
        arrays |= {f"clock.{name}": value for name, value in log.clock.arrays().items()}
        if self.folder is not None:
            try:
                self.folder.mkdir(parents=True, exist_ok=True)
            except OSError as problem:
                raise LogError(f"{self.folder}: the folder cannot be made ({problem.strerror}).") from None
        with whole_file(self.place(log.path), what="blocks", known=True) as draft, open(draft, "w+b") as file:
            np.savez(file, **arrays)
            digest = hashlib.sha256()
            with zipfile.ZipFile(file, "a") as kept:
                with kept.open(ROWS, "w", force_zip64=True) as rows:
                    for data in stash.raw():
                        digest.update(data)
                        rows.write(data)
                kept.writestr(ROWS_DIGEST, digest.hexdigest())


def _open_rows(path: Path) -> tuple[IO[bytes], int]:
    """Open the file of a cache and say where the rows that stood out begin; they are checked, not loaded."""
    with zipfile.ZipFile(path) as kept:
        digest = hashlib.sha256()
        with kept.open(ROWS) as rows:
            while data := rows.read(MIB):  # raises where the check sum does not fit
                digest.update(data)
        if digest.hexdigest() != kept.read(ROWS_DIGEST).decode():
            raise ValueError("changed by hand")
        head = kept.getinfo(ROWS).header_offset
    file = open(path, "rb")  # noqa: SIM115 - lives as long as the stash
    file.seek(head)
    local = file.read(30)  # of the ZIP format: lengths of name and extra field stand at 26 and 28
    return file, head + 30 + int.from_bytes(local[26:28], "little") + int.from_bytes(local[28:30], "little")


def _guard_from(kept: Mapping[str, Any], number: int, channels: int) -> StretchFigures:
    return StretchFigures(
        **{name: kept[f"{number}.guard.{name}"] for name in _SEGMENTS},
        channels=tuple(
            ChannelFigures(**{name: kept[f"{number}.{c}.guard.{name}"] for name in CHANNEL_ARRAYS})
            for c in range(channels)
        ),
    )


def _run_to(run: Run) -> dict[str, Any]:
    out = {field.name: getattr(run, field.name) for field in dataclasses.fields(Run)}
    out["start"] = run.start.isoformat() if run.start else None
    out["gaps"] = [dataclasses.astuple(gap) for gap in run.gaps]
    return out


def _run_from(told: dict[str, Any]) -> Run:
    return Run(
        **told
        | {
            "start": datetime.fromisoformat(told["start"]) if told["start"] else None,
            "gaps": tuple(Gap(*gap) for gap in told["gaps"]),
            "notes": tuple(told["notes"]),
            "paces": tuple(told["paces"]),
            "pace_changes": tuple((begun, pace) for begun, pace in told["pace_changes"]),
        }
    )
