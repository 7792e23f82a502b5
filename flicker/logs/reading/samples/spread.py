"""Time stamps coarser than the sampling: spreads samples that share a stamp evenly over the step to the next."""

from __future__ import annotations

import numpy as np

from flicker.logs.reading.samples.spool import Spool

COARSE_SHARE = 0.3  # of equal neighbours, from which on the stamps count as coarse
_WINDOW = 1 << 20


def spread(spool: Spool) -> str:
    """Rewrite the time column (0) of a spool; returns the note that says so."""
    head = spool.read(0, 0, min(spool.rows, _WINDOW))
    starts = np.flatnonzero(np.diff(head, prepend=head[0] - 1.0) != 0)
    sizes = np.diff(starts)
    steps = np.diff(head[starts])
    forward = steps[steps > 0]
    step = float(np.median(forward)) if forward.size else 1.0
    usual = float(np.median(sizes[1:] if sizes.size > 2 else sizes)) if sizes.size else float(head.size)
    first = 0
    while first < spool.rows:
        last = min(first + _WINDOW, spool.rows)
        time = spool.read(0, first, last)
        starts = np.flatnonzero(np.diff(time, prepend=time[0] - 1.0) != 0)
        if last < spool.rows and starts.size > 1:  # the last group may go on
            last = first + int(starts[-1])
            time, starts = time[: starts[-1]], starts[:-1]
        sizes = np.diff(starts, append=time.size)
        place = np.arange(time.size) - np.repeat(starts, sizes)
        length = np.repeat(np.maximum(sizes, usual), sizes)
        early = np.repeat(np.maximum(usual - sizes, 0.0), sizes) if first == 0 else np.zeros(time.size)
        if first == 0:
            early[sizes[0] :] = 0.0  # only the first group may have begun before the log did
        spool.write(0, first, time + step * (place + early) / length)
        first = last
    zero = float(spool.read(0, 0, 1)[0])
    if zero:
        for lo, hi in list(spool.starts(0, spool.rows)):
            spool.write(0, lo, spool.read(0, lo, hi) - zero)
    return f"About {usual:g} samples share each time stamp; they were spread evenly over {step:g} s."
