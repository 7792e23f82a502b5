"""Is what was read a log? Counts of rows, times without a value and steps in; a sentence where it is none."""

from __future__ import annotations

from flicker.logs.errors import LogError, NoReadings, Question, too_few

FEWEST = 10  # samples of a log that is read alone; common practice, no source

ODD_ROWS = 20  # rows without a time or of another shape that are not read, with a note, whatever the length;
ODD_SHARE = 0.001  # and this share of a long log; common practice, no source


def empty(name: str) -> NoReadings:
    """What to say of a file without readings."""
    return NoReadings(f"{name} holds a header and no readings; copy the whole file, or log first.")


def check_rows(name: str, rows: int, *, few: bool) -> None:
    """Refuse what has too few rows; ``few`` will do where others are read beside it."""
    if rows == 0:
        raise empty(name)
    if rows < FEWEST and not few:
        raise too_few(name, rows)


def no_reading(name: str) -> LogError:
    """What to say of channels that are blank throughout."""
    return LogError(
        f"{name}: no channel holds a single reading (all blank or NaN); name other columns with channels (--channels NAME)."
    )


def check_times(name: str, rows: int, *, blank: int, back: int, forward: int, timed: bool) -> None:
    """Refuse a log whose times cannot be those of samples; ``blank`` rows have none, others step ``back`` or ``forward``."""
    if blank > max(ODD_ROWS, ODD_SHARE * rows):
        raise Question(
            f"{name}: {blank} rows have no time; fill them in, or give the seconds between samples with sample_interval_s"
            " (--sample-interval S).",
            sample_interval_s=1.0,
        )
    if back > forward and back > 0.5 * rows:
        raise Question(
            f"{name}: time goes backwards throughout and tells no date; if the newest row comes first, reverse the rows; if time is"
            " counted down, give the seconds between samples with sample_interval_s (--sample-interval S).",
            sample_interval_s=1.0,
        )
    if timed and forward == 0:
        raise Question(
            f"{name}: all time stamps are equal; give the seconds between samples with sample_interval_s (--sample-interval S).",
            sample_interval_s=1.0,
        )
