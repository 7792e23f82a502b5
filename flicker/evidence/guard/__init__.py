"""The guard: what raw readings forbid. Reasons against 'within limits' and 'steady' out; it can only take them away.

`judge` weighs the figures, which share no code with what explains (no baseline, no states, nothing subtracted);
`clean_time`, `awake` and `at_zero` tell which hours count, `model` holds its limits and results, `words` its sentences.
"""

from flicker.evidence.guard.judge import judge_guard
from flicker.evidence.guard.model import Asleep, Figures, Guard, GuardLimits, Reason, Session

__all__ = ["Asleep", "Figures", "Guard", "GuardLimits", "Reason", "Session", "judge_guard"]
