"""Files are written whole or not at all: a temporary file in the same folder, flushed to disk, then put in place."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterator, Mapping
from pathlib import Path

from flicker.logs.model import LogError

HEAD = 14  # bytes by which a kind of file is known: '<!doctype html', the first names of a table's heading


@contextlib.contextmanager
def whole_file(path: str | os.PathLike[str], *, what: str = "file", known: bool = False) -> Iterator[Path]:
    """Hand out a temporary path beside ``path``; when the block ends well it takes the place of ``path``.

    Where the block fails, the temporary file goes and whatever stood at ``path`` before stays as it was. A process that
    is killed leaves at most a hidden draft (a name that begins with a dot and ends in ``.part``).

    Parameters
    ----------
    path : str or path
        Where the file shall stand.
    what : str
        What it is ('report', 'notebook'), for the error's sentence.
    known : bool
        The caller has looked at what stands there and may change it. Otherwise only a file that begins as the new one
        does is replaced: a slip of the hand must not cost a log.

    Raises
    ------
    LogError
        With one sentence, where the file cannot be written there, or another kind of file stands there.
    """
    with whole_files([path], what=what, known=known) as drafts:
        yield drafts[0]


@contextlib.contextmanager
def whole_files(
    paths: list[str | os.PathLike[str]], *, what: str = "file", known: bool = False
) -> Iterator[list[Path]]:
    """Hand out a temporary path beside each of ``paths``; none takes its place before all are complete on disk.

    Raises
    ------
    LogError
        With one sentence, where one of them cannot be written, or another kind of file stands there (see `whole_file`).
    """
    targets = [_target(path, what) for path in paths]
    drafts = [
        target if _is_device(target) else target.with_name(f".{target.name[:80]}.{secrets.token_hex(6)}.part")
        for target in targets
    ]
    places = [
        (path, target, draft) for path, target, draft in zip(paths, targets, drafts, strict=True) if draft is not target
    ]
    try:
        for path, _, draft in places:
            with _told(path, what):
                # Made here, not by the writer: never over a file that exists, with the rights the user's mask gives.
                os.close(os.open(draft, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
        with _told(paths[0], what):
            yield drafts
        for path, target, draft in places:
            with _told(path, what):
                _to_disk(draft)
                if not known and not _alike(draft, target):
                    raise LogError(f"{path} holds something else than a {what}; choose another name for the {what}.")
                if target.exists():
                    os.chmod(draft, target.stat().st_mode & 0o777)
        for path, target, draft in places:
            with _told(path, what):
                os.replace(draft, target)
    finally:
        for _, _, draft in places:
            with contextlib.suppress(OSError):
                draft.unlink(missing_ok=True)


def write_whole(
    path: str | os.PathLike[str], content: str | bytes, *, what: str = "file", known: bool = False
) -> Path:
    """Write text (as UTF-8) or bytes to ``path``, whole or not at all, and return the path.

    Raises
    ------
    LogError
        With one sentence, where the file cannot be written there.
    """
    with whole_file(path, what=what, known=known) as draft:
        draft.write_bytes(_bytes(content))
    return Path(path)


def write_together(contents: Mapping[Path, str | bytes], *, what: str = "files") -> None:
    """Write several files over whatever stands there: all are complete on disk before the first takes its place.

    Raises
    ------
    LogError
        With one sentence, where one of them cannot be written; then none is.
    """
    with whole_files(list(contents), what=what, known=True) as drafts:
        for draft, content in zip(drafts, contents.values(), strict=True):
            draft.write_bytes(_bytes(content))


def _bytes(content: str | bytes) -> bytes:
    return content.encode("utf-8") if isinstance(content, str) else content


def _alike(draft: Path, target: Path) -> bool:
    """Whether a file may be replaced: it is not there, empty, or begins as the new one does."""
    if not target.exists():
        return True
    heads = []
    for place in (draft, target):
        with open(place, "rb") as file:
            heads.append(file.read(HEAD))
    new, old = heads
    if new[:4] == old[:4] == b"PAR1":  # what follows it are data already: the names of the columns tell
        from pyarrow import parquet

        names = [parquet.read_schema(place).names for place in (draft, target)]
        return bool(names[0] == names[1])
    return not old or old.lower() == new.lower()


def _target(path: str | os.PathLike[str], what: str) -> Path:
    """The file behind a path; a folder is refused."""
    target = Path(os.path.realpath(path))
    if os.path.isdir(target):  # not Path.is_dir, which raises where the name is too long
        raise LogError(f"{path}: this is a folder; give the name of a file for the {what}.")
    return target


def _is_device(target: Path) -> bool:
    """Devices and pipes cannot be replaced, only written to."""
    return os.path.exists(target) and not os.path.isfile(target)


def _to_disk(draft: Path) -> None:
    """Have the system write a file to disk."""
    descriptor = os.open(draft, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


@contextlib.contextmanager
def _told(path: str | os.PathLike[str], what: str) -> Iterator[None]:
    """Turn an error of the system into one sentence."""
    try:
        yield
    except OSError as problem:
        parent = Path(os.path.realpath(path)).parent
        if isinstance(problem, FileNotFoundError) and not parent.is_dir():
            said = f"{path}: the {what} cannot be written, there is no folder {parent.name or parent}."
        else:
            said = f"{path}: the {what} cannot be written ({problem.strerror or problem})."
        raise LogError(said) from None


@contextlib.contextmanager
def locked(path: str | os.PathLike[str]) -> Iterator[None]:
    """Hold a file against other processes that ask for the same, until the block ends; nothing is written to it.

    Where the system knows no such locks, or the file is not there, the block runs all the same.
    """
    try:
        import fcntl

        file = open(path, "rb")  # noqa: SIM115 - a lock lives as long as the file is open
    except (ImportError, OSError):
        yield
        return
    with file:
        with contextlib.suppress(OSError):
            fcntl.flock(file, fcntl.LOCK_EX)
        yield
