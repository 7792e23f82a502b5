"""The error of a log that cannot be used, and of one that can once more is told of it."""

from typing import Any


class LogError(ValueError):
    """A log that cannot be used: one sentence with the file, the place, what was found and what to do."""


class NoReadings(LogError):
    """A log of which only the header stands there: the newest of several may be one."""


class Question(LogError):
    """A log that can be read once more is told of it.

    ``options`` are reading options of `flicker.read_log` that answer, each with a value to go on with so that further
    questions are found; None means that the option is to be left out.
    """

    def __init__(self, sentence: str, **options: Any) -> None:
        super().__init__(sentence)
        self.options = options


def too_few(name: str, samples: int) -> LogError:
    """What to say of a log that is too short."""
    return LogError(f"{name}: {samples} sample{' is' if samples == 1 else 's are'} too few to judge; 10 or more are needed. Log longer.")
