"""Where the sound channels of earlier jobs rest, model by model, and where this one does."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import altair as alt

from flicker.base.formats import count_text, millivolts_text
from flicker.base.values import Fitness, VerdictWord
from flicker.evidence.channel import ChannelAssessment
from flicker.present import palette
from flicker.present.charts import _frame as frame
from flicker.present.charts._frame import NothingToDraw, values


def levels_of_ledger(rows: Sequence[dict[str, Any]], item: ChannelAssessment) -> Any:
    """Draw the level at rest of every sound channel of a ledger, and a line for the channel on the bench.

    Parameters
    ----------
    rows : sequence of dict
        Of a ledger, as `flicker.ledger.read_ledger` returns them.
    item : ChannelAssessment
        The channel on the bench.

    Raises
    ------
    NothingToDraw
        If the ledger holds no sound channel.
    """
    sound = [
        {"model": frame.label(str(row["model"] or "model not recorded")), "mV": abs(row["level_V"]) * 1e3}
        for row in rows
        if (row["verdict"], row["fitness"]) == (VerdictWord.STEADY, Fitness.WITHIN_LIMITS) and row["level_V"] is not None
    ]
    if not sound:
        raise NothingToDraw("the ledger holds no sound channel")
    here = item.baseline.level_V
    x = alt.X("mV:Q", title="distance of the level at rest from zero (mV)", scale=alt.Scale(zero=True))
    dots = alt.Chart(values(sound)).mark_point(filled=True, size=45, opacity=0.6, color=palette.PETROL)
    layers = [dots.encode(x=x, y=alt.Y("model:N", title=None, axis=alt.Axis(labelLimit=200)))]
    if here is not None:
        layers.append(alt.Chart(values([{"mV": abs(here) * 1e3}])).mark_rule(color=palette.ALARM).encode(x=x))
    models = len({row["model"] for row in sound})
    rests = "is not known to rest anywhere" if here is None else f"rests {millivolts_text(abs(here))} from zero"
    caption = f"{item.channel} {rests}, beside {count_text(len(sound), 'sound channel')} of {count_text(models, 'model')}."
    chart = alt.layer(*layers, width=frame.WIDTH - 160, height=max(60, 26 * models))
    return frame.finish(chart, caption, "Dots: sound channels of earlier jobs, steady and within limits. Line: this channel.")
