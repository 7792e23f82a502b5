"""The script that draws a page's charts: packed once, and kept in the user's cache folder while the libraries stay."""

from __future__ import annotations

import contextlib
import os
from functools import lru_cache
from importlib.metadata import version
from pathlib import Path

from flicker.logs.beside import keep_text, kept_text
from flicker.logs.errors import LogError


@lru_cache(maxsize=1)
def chart_script() -> str:
    """The script that draws charts, once for the whole page; its text cannot end the script element.

    Packing takes more than a second. What is kept carries its digest: one that does not fit is packed anew, and where
    nothing can be kept each process packs for itself.
    """
    place, made_by = _place(), version("vl-convert-python")
    script = kept_text(place, made_by)
    if script is None:
        script = _packed()
        with contextlib.suppress(OSError, LogError):
            keep_text(place, made_by, script)
    return script


def _packed() -> str:
    import vl_convert as vlc

    script = str(vlc.javascript_bundle())  # type: ignore[call-arg]
    script = script.replace("\r\n", "\n").replace("\r", "\n")
    return script.replace("</script", "<\\/script").replace("<!--", "<\\!--")


def _place() -> Path:
    """Among what programs of this user keep and can make again (XDG Base Directory Specification; Windows: local data)."""
    told = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA") or ""
    base = told if os.path.isabs(told) else os.path.expanduser("~/.cache")
    return Path(base, "flicker", "charts.js")
