"""Do the readings come at one pace? Where they do not, glitches as short as the slower one are seen unequally, and feign a change."""

from __future__ import annotations

import numpy as np

from flicker.evidence.record.channel_record import ChannelRecord

# sample intervals further apart than this factor see different shares of short glitches; chosen, not measured
PACE = 1.5
SHORT = 0.25  # part of the glitches that must be shorter than an interval for that to matter; chosen, not measured
OTHER_PACE = (
    "The readings come at more than one pace, and the slower one misses glitches this short: how often they come, and how large they "
    "are, cannot be told from one part to the next. Log at one pace."
)


def feigned(record: ChannelRecord) -> bool:
    """Whether readings closer together in one run, or part of a run, than in another could feign a change of rate or size."""
    paces = [run.paces_s for run, trace in zip(record.runs, record.traces, strict=True) if trace.observed_s > 0]
    if not paces:
        return False
    fastest, slowest = min(pair[0] for pair in paces), max(pair[1] for pair in paces)
    spans = np.concatenate([trace.excursions.end_s - trace.excursions.start_s for trace in record.traces])
    return bool(slowest > PACE * fastest and spans.size and float(np.quantile(spans, SHORT)) < slowest)
