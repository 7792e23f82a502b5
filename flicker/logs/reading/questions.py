"""All that a log leaves open, in one sentence, and the options that settle it in one go. A first question in, all of them out."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from flicker.logs.errors import LogError, Question
from flicker.logs.reading.planning.columns import Wishes

MOST = 6  # questions asked at once; common practice, no source
_VALUES = {  # how each option is written on the command line, with what it takes
    "unit": "--unit V|mV",
    "sample_interval_s": "--sample-interval S",
    "time_unit": "--time-unit s|ms|us|min|h|d",
    "day_first": "--day-first yes|no",
    "date_order": "--date-order ymd|dmy|mdy",
    "decimal": "--decimal .|,",
    "thousands": "--thousands sure",
    "channels": "--channels NAME",
    "volts_per_count": "--volts-per-count V",
    "full_scale_V": "--full-scale V",
}


def all_of(first: Question, read: Callable[[Wishes], Any], wishes: Wishes, name: str) -> Question:
    """Go on reading with the value that each question names, and return one question that holds them all.

    Parameters
    ----------
    first : Question
        The one at which reading stopped.
    read : callable
        Reads the log as wishes say.
    wishes : Wishes
        What the caller said.
    name : str
        Of the file, which the sentence tells once.
    """
    asked = [first]
    while len(asked) < MOST:
        wishes = answered(wishes, asked[-1].options)
        try:
            read(wishes)
        except Question as more:
            if any(str(more) == str(question) for question in asked):
                break
            asked.append(more)
        except LogError:  # told when the questions are settled
            break
        else:
            break
    if len(asked) == 1:
        return first
    options: dict[str, Any] = {}
    for question in asked:
        options |= {key: _joined(options.get(key), value) for key, value in question.options.items()}
    told, known = [str(first)], [set(first.options)]
    for question in asked[1:]:
        if set(question.options) not in known:  # else its options alone are added
            told.append(str(question).removeprefix(f"{name}: ").removeprefix(f"{name}, "))
            known.append(set(question.options))
    return Question(
        f"{' Then: '.join(told)} All in one go: {settling([question.options for question in asked])}.", **options
    )


def answered(wishes: Wishes, options: Mapping[str, Any]) -> Wishes:
    """Wishes with the values that a question names."""
    changes: dict[str, Any] = {}
    for key, value in options.items():
        if key == "roles":
            changes["roles"] = tuple(_joined(dict(wishes.roles), value).items())
        elif key == "missing_words":
            changes["missing_words"] = (*wishes.missing_words, *value)
        elif key == "unit" and isinstance(value, Mapping):
            changes["units"] = tuple(_joined(dict(wishes.units), value).items())
        else:
            changes[key] = tuple(value) if isinstance(value, list) else value
            if key == "unit" and value is None:
                changes["units"] = ()
    return replace(wishes, **changes)


def _joined(before: Any, value: Any) -> Any:
    """What two questions want of one option: both, of roles, units and words; else the later one."""
    if isinstance(value, Mapping) and isinstance(before, Mapping):
        return {**before, **value}
    if isinstance(value, list) and isinstance(before, list):
        return [*before, *value]
    return value


def settling(asked: Sequence[Mapping[str, Any]]) -> str:
    """Options of the command line that settle all questions, each once."""
    out: list[str] = []
    for options in asked:
        for key, value in options.items():
            if value is None:
                out.append(f"without --{key.replace('_', '-')}")
            elif key == "roles":
                out += [f'--role "{column}={role}"' for column, role in value.items()]
            elif key == "unit" and isinstance(value, Mapping):
                out += [f'--unit "{column}=V|mV"' for column in value]
            elif key == "missing_words":
                out += [f'--missing-word "{word}"' for word in value]
            else:
                out.append(_VALUES[key])
    return " ".join(dict.fromkeys(out))
