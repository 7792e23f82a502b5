"""The error of a log that cannot be used."""


class LogError(ValueError):
    """A log that cannot be used: one sentence with the file, the place, what was found and what to do."""
