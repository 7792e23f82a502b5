"""How the logs of a case are read: options of `flicker.read_log`, for all logs or a single one. A table in, options out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from flicker.base import check

Options = tuple[tuple[str, Any], ...]

_NUMBER, _TEXT, _TRUTH, _WORDS = "a number", "text in quotes", "true or false", "a list of words"
_UNITS = f"{_TEXT}, or a table of column and unit"
# The options of reading and what each takes; `flicker.commands` names those of the command line after them.
KINDS = {
    "unit": _UNITS,
    "sample_interval_s": _NUMBER,
    "time_column": _TEXT,
    "time_unit": _TEXT,
    "day_first": _TRUTH,
    "date_order": _TEXT,
    "decimal": _TEXT,
    "thousands": _TEXT,
    "separator": _TEXT,
    "channel_column": _TEXT,
    "volts_per_count": _NUMBER,
    "zero_count": _NUMBER,
    "missing_words": _WORDS,
    "over_words": _WORDS,
    "full_scale_V": _NUMBER,
}


def _texts(values: Any) -> bool:
    return all(isinstance(word, str) for word in values)


_FITS: dict[str, Callable[[Any], bool]] = {
    _NUMBER: lambda value: isinstance(value, (int, float)) and not isinstance(value, bool),
    _TEXT: lambda value: isinstance(value, str),
    _TRUTH: lambda value: isinstance(value, bool),
    _WORDS: lambda value: isinstance(value, (list, tuple)) and _texts(value),
    _UNITS: lambda value: isinstance(value, str) or (isinstance(value, Mapping) and _texts(value.values())),
}


class OptionError(ValueError):
    """An option that cannot be used; ``key`` is its name."""

    def __init__(self, key: str, sentence: str) -> None:
        super().__init__(sentence)
        self.key = key


def checked(values: Mapping[str, Any]) -> Options:
    """Return options by name, each of its kind.

    Raises
    ------
    OptionError
        For a name that is none, or a value of another kind.
    """
    from flicker.logs.reading import wishes_of
    from flicker.logs.reading.words import units

    for key, value in values.items():
        if key not in KINDS:
            raise OptionError(key, f"{key!r} is no option of reading; {check.hint(key, tuple(KINDS))}")
        if not _FITS[KINDS[key]](value):
            raise OptionError(key, f"{key} must be {KINDS[key]}, got {value!r}.")
        if key == "unit" and isinstance(value, str) and units.volts_per(value) is None:
            raise OptionError(key, f"unit must be V, mV, µV or kV, got {value!r}.")
        if key == "time_unit" and units.seconds_per(value) is None:
            raise OptionError(key, f"time_unit must be one of s, ms, us, ns, min, h, d, got {value!r}.")
        try:
            wishes_of(**{key: value})
        except ValueError as problem:
            raise OptionError(key, str(problem)) from None
    return tuple((key, tuple(value) if isinstance(value, list) else value) for key, value in values.items())


_INSTEAD = {  # what an option given makes idle
    "day_first": ("date_order",),
    "date_order": ("day_first",),
    "time_unit": ("sample_interval_s",),
    "time_column": ("sample_interval_s",),
    "unit": ("volts_per_count", "zero_count"),
}


def overruled(told: Mapping[str, Any], given: Mapping[str, Any]) -> dict[str, Any]:
    """Options of a case with those given instead; one given makes idle what it contradicts."""
    idle = {name for key, value in given.items() if value is not None for name in _INSTEAD.get(key, ())}
    return {key: value for key, value in told.items() if key not in idle} | dict(given)


def shown(options: Options) -> str:
    """Options as a line of a case file has them: ``unit = "mV", sample_interval_s = 0.5``."""
    return ", ".join(f"{key} = {_toml(value)}" for key, value in options)


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{quoted(key)} = {_toml(word)}" for key, word in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(_toml, value)) + "]"
    return quoted(str(value))


def quoted(text: str) -> str:
    """A TOML basic string."""
    out = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in out) + '"'
