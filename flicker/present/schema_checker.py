"""jsonschema, which Altair and Jupyter's file format check with, loaded without what nobody asks of it.

Import this module before them. Where JupyterLab is installed, jsonschema finds the grammars of internationalised
addresses and builds 38 parsers of them as it is imported: a second of every page and notebook, for a format that no
chart and no notebook holds.
"""

from __future__ import annotations

import contextlib
import sys

GRAMMARS = "rfc3987_syntax"

_hidden = GRAMMARS not in sys.modules
if _hidden:
    sys.modules[GRAMMARS] = None  # type: ignore[assignment]
with contextlib.suppress(ImportError):
    import jsonschema  # type: ignore[import-untyped]  # noqa: F401
if _hidden:
    del sys.modules[GRAMMARS]
