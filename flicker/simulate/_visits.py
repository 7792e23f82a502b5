"""One unit seen at several visits, months apart: what changes from visit to visit and not within one."""

from __future__ import annotations

from datetime import timedelta

from flicker.base.check import positive, whole
from flicker.simulate._noise import at_random
from flicker.simulate._registry import kind
from flicker.simulate._sheet import Sheet

DAYS_APART = 98.0  # invented: three months or so, on the same weekday


@kind(
    "ageing",
    "degrading",
    "visits months apart: glitches come more often at each visit, evenly within each",
    verdict="degrading",
    hours=1.0,
    runs=6,
    length_s=(0.5, 4.0),
)
def ageing(
    sheet: Sheet,
    *,
    power_ups: int = 2,
    days: float = DAYS_APART,
    first_per_h: float = 4.0,
    growth: float = 2.2,
    level_V: float = 0.0,
    scatter_V: float = 0.0,
) -> None:
    """Put the runs into visits of ``power_ups`` each, ``days`` apart.

    Glitches of the bad channels come at ``first_per_h`` at the first visit and ``growth`` times more at each later one
    (Poisson, evenly within a visit); their level moves by ``level_V`` from visit to visit, and by a normal scatter of
    ``scatter_V`` at each.
    """
    each = whole("power_ups", power_ups, least=1, what="a number of power-ups")
    evenly = list(sheet.start)
    sheet.start = [
        evenly[run % each] + timedelta(days=positive("days", days, what="days") * (run // each))
        for run in range(sheet.setting.runs)
    ]
    for run, name, _ in sheet.each_bad():
        visit = run // each
        rng = sheet.rng("place", run, name)
        sheet.draw(name, at_random(rng, first_per_h * growth**visit, sheet.usable_s), run=run)
        moved = level_V * visit + scatter_V * float(sheet.rng("visit level", visit, name).standard_normal())
        sheet.settle(run, name, moved)
