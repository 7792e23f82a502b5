"""The enumerated values of results and documents. Code decides by these; sentences are made from them and never read.

Each is a `StrEnum`: the value's text is what documents hold.
"""

from __future__ import annotations

from enum import StrEnum


class Answer(StrEnum):
    """Answer to a question: shown and large enough to matter, shown to be within the limit, or neither."""

    YES = "yes"
    NO = "no"
    NOT_SHOWN = "not shown"


class VerdictWord(StrEnum):
    """What a channel does."""

    STEADY = "steady"
    ONE_OFF = "one-off"
    NOISY = "noisy"
    DRIFTING = "drifting"
    DEGRADING = "degrading"
    INCONCLUSIVE = "inconclusive"


class Fitness(StrEnum):
    """May a loudspeaker be connected?"""

    DO_NOT_CONNECT = "do not connect"
    NOT_YET_SHOWN = "not yet shown"
    WITHIN_LIMITS = "within limits for the time observed"


class Basis(StrEnum):
    """What an answer rests on."""

    RATE = "rate of episodes"
    FILLED_TIME = "time beyond the threshold"
    BY_HAND = "reproduced by hand"
    SHORTED_LEAD = "against the shorted lead"


class Unobserved(StrEnum):
    """Why a stretch does not count as observed."""

    NO_SAMPLES = "no samples"
    NO_READING = "no reading"
    OVER_RANGE = "over range"
    COARSE_RANGE = "this range cannot tell"
    SURGE = "power-up surge"
    SWITCHED_OFF = "switched off"
    MUTED = "muted"
    DISCONNECTED = "disconnected"
    OPEN_LEAD = "floating pick-up: lead or clip off"
    REPEATED = "no signs of life: the same reading repeated"
    STILL = "no signs of life"
    TOUCHED = "touched, by the marks"
    STIMULUS = "after a stimulus, by the marks"
    TWICE = "counted in another log"


class NotTold(StrEnum):
    """Why a change of level or noise from visit to visit is not shown, or cannot be."""

    TOLD = ""
    FEW_VISITS = "seen at fewer than two visits"
    SIGN_REVERSED = "meter or leads; the sign is just reversed"
    WITHIN_ACCURACY = "meter or leads; less than the accuracy of both readings"
    VISITS_SCATTER = "no more than visits and power-ups differ by themselves"
    ABOUT_THE_LIMIT = "about the limit"


BY_METER = frozenset({NotTold.SIGN_REVERSED, NotTold.WITHIN_ACCURACY})  # the meter or its leads may have made it


class Aspect(StrEnum):
    """What decides the outcome of a comparison."""

    EPISODES = "episodes"
    OCCUPIED_WINDOWS = "occupied windows"
    NOISE_FLOOR = "noise floor"
    SETTLED_LEVEL = "settled level"
    MOVEMENT = "movement"
    JUMPS = "jumps"
    POWER_UP = "power-up"
    PROTECTION = "protection"


class TailKind(StrEnum):
    """What the tail of the word tells."""

    CLEAN = "clean"
    NO_LIFE = "no sign of life"
    NOTHING_OBSERVED = "nothing observed"
    FAILED = "failed"
    STANDS = "stands"
    LARGER = "larger"
    WORSE_WITH_AGE = "more often with each power-up"
    MORE_OFTEN = "more often during this run"
    MOVES = "level moves"
    JUMPED = "level jumped"
    MOVED = "moved, kind not shown"
    SETTLES_DIFFERENTLY = "settles differently"
    RECURRING = "recurring swings"
    LONG = "long swings"
    SMALL_SWINGS = "small swings"
    ALL_AT_ONCE = "in all channels at once"
    JUMPS = "jumps between levels"
    TWO_LEVELS = "two levels"  # in documents of rules before 36; said as jumps since
    HIGH_NOISE = "high noise floor"
    PROVOKED = "when provoked"
    SEEN = "seen, not proved gone"
    LIKE_LEAD = "no more than the shorted lead"
    SEEN_SHORT = "seen in too short a time"
    TOO_SHORT = "clean, too short"
    OFFSET = "offset too high"
    OPEN = "open"
