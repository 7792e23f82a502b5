"""Files are written whole or not at all: a temporary file in the same folder, flushed to disk, then put in place."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterator
from pathlib import Path

from flicker.logs.model import LogError


@contextlib.contextmanager
def whole_file(path: str | os.PathLike[str], *, what: str = "file") -> Iterator[Path]:
    """Hand out a temporary path beside ``path``; when the block ends well it takes the place of ``path``.

    Where the block fails, the temporary file goes and whatever stood at ``path`` before stays as it was.

    Parameters
    ----------
    path : str or path
        Where the file shall stand.
    what : str
        What it is ('report', 'notebook'), for the error's sentence.

    Raises
    ------
    LogError
        With one sentence, where the file cannot be written there.
    """
    target = Path(os.path.realpath(path))
    if os.path.isdir(target):  # not Path.is_dir, which raises where the name is too long
        raise LogError(f"{path}: this is a folder; give the name of a file for the {what}.")
    if os.path.exists(target) and not os.path.isfile(target):  # a device or a pipe cannot be replaced, only written to
        yield target
        return
    draft = target.with_name(f".{target.name[:80]}.{secrets.token_hex(6)}.part")
    try:
        try:
            # Made here, not by the writer: never over a file that exists, and with the rights the user's mask gives.
            os.close(os.open(draft, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o666))
            yield draft
            descriptor = os.open(draft, os.O_RDONLY)
            try:
                os.fsync(descriptor)
            finally:
                os.close(descriptor)
            if target.exists():
                os.chmod(draft, target.stat().st_mode & 0o777)
            os.replace(draft, target)
        except OSError as problem:
            raise LogError(_sentence(path, what, target, problem)) from None
    finally:
        with contextlib.suppress(OSError):
            draft.unlink(missing_ok=True)


def write_whole(path: str | os.PathLike[str], content: str | bytes, *, what: str = "file") -> Path:
    """Write text (as UTF-8) or bytes to ``path``, whole or not at all, and return the path.

    Raises
    ------
    LogError
        With one sentence, where the file cannot be written there.
    """
    with whole_file(path, what=what) as draft:
        draft.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)
    return Path(path)


def _sentence(path: str | os.PathLike[str], what: str, target: Path, problem: OSError) -> str:
    if isinstance(problem, FileNotFoundError) and not target.parent.is_dir():
        return f"{path}: the {what} cannot be written, there is no folder {target.parent.name or target.parent}."
    return f"{path}: the {what} cannot be written ({problem.strerror or problem})."
