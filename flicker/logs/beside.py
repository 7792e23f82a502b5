"""What stands beside a log: its marks, and what was worked out of it before, with the proof that it still fits."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

MIB = 1 << 20  # by definition


def marks_path(log_path: str | os.PathLike[str]) -> Path:
    """Return where the marks of a log stand: `bench.csv` has them in `bench.marks.csv`."""
    path = Path(log_path)
    stem = path.name
    for end in (".gz", ".zip"):
        stem = stem.removesuffix(end)
    return path.with_name(f"{Path(stem).stem}.marks.csv")


def kept_path(log_path: str | os.PathLike[str], folder: str | os.PathLike[str] | None, what: str) -> Path:
    """Where something worked out of a log is kept: in the folder, or beside the log as a hidden file."""
    full = Path(os.path.realpath(log_path))
    if folder is None:
        return full.with_name(f".{full.name[:80]}.{what}")
    return Path(folder) / f"{full.name[:80]}.{hashlib.sha256(str(full).encode()).hexdigest()[:16]}.{what}"


def file_key(path: str | os.PathLike[str], *, whole: bool = False) -> str:
    """Identify a file: its size, time and place, its first and last MiB and its Parquet footer, hashed.

    With ``whole`` all of its bytes are hashed instead of the ends.
    """
    digest = hashlib.sha256()
    status = os.stat(path)
    digest.update(f"{status.st_size} {status.st_mtime_ns} {status.st_ino}".encode())
    with open(path, "rb") as file:
        if whole:
            digest.update(hashlib.file_digest(file, "sha256").digest())
            return digest.hexdigest()
        digest.update(file.read(MIB))
        ends = MIB
        if status.st_size > MIB:
            file.seek(-8, os.SEEK_END)
            tail = file.read(8)
            if tail[4:] == b"PAR1":
                ends = max(ends, int.from_bytes(tail[:4], "little") + 8)
            file.seek(max(MIB, status.st_size - ends))
            while chunk := file.read(MIB):
                digest.update(chunk)
    return digest.hexdigest()


def program_key() -> str:
    """Identify what works things out: this program, module by module as it is installed, and the libraries it reckons and prints with."""
    from importlib.metadata import version  # late: half of the standard library's network comes with it

    home = Path(__file__).parents[1]
    modules = [(str(path), path.stat().st_size, path.stat().st_mtime_ns) for path in sorted(home.rglob("*.py"))]
    libraries = [version(name) for name in ("numpy", "pyarrow", "rich", "ruptures", "scipy", "statsmodels")]
    return hashlib.sha256(repr((modules, libraries)).encode()).hexdigest()


def kept_text(place: Path, told: str) -> str | None:
    """Return a text that was kept for what is ``told``, None where there is none or a letter of it was changed."""
    try:
        seal, _, text = place.read_bytes().decode().partition("\n")
    except (OSError, UnicodeDecodeError):
        return None
    return text if seal == _seal(told, text) else None


def keep_text(place: Path, told: str, text: str) -> None:
    """Keep a text for what is ``told``.

    Raises
    ------
    LogError, OSError
        If it cannot be written.
    """
    from flicker.logs.writing import write_whole  # late: what is kept is found without numpy

    place.parent.mkdir(parents=True, exist_ok=True)
    write_whole(place, f"{_seal(told, text)}\n{text}", known=True)


def _seal(told: str, text: str) -> str:
    return f"// {hashlib.sha256(f'{len(told)} {told}{text}'.encode()).hexdigest()}"
