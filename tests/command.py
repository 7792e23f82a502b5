"""The command line run in the tests' own process: what a shell would see of it, without the start of another Python."""

from __future__ import annotations

import contextlib
import io
from dataclasses import dataclass

from flicker.cli import main


@dataclass(frozen=True)
class Done:
    """Exit code and both streams of a command that has ended."""

    returncode: int
    stdout: str
    stderr: str


def flicker(*words: object, encoding: str = "utf-8") -> Done:
    """Run a command to its end, as into a pipe of that encoding."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding=encoding) for _ in range(2))
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main([str(word) for word in words])
    told = []
    for stream in (out, err):
        stream.flush()
        told.append(stream.buffer.getvalue().decode(encoding))  # type: ignore[attr-defined]
    return Done(code, *told)
