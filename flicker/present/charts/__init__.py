"""Charts as Altair objects: results in, pictures out. Each carries a caption that states what is found, computed.

Units stand on the axes, lines are labelled where they run, colours are safe for colour-blind readers, and no chart
holds more than some 4,000 rows of data. `caption_of` gives a chart's caption, `note_of` how it is to be read.
"""

from __future__ import annotations

from flicker.evidence.verdict import ORDER
from flicker.present import schema_checker  # noqa: F401, before Altair
from flicker.present.charts._bench import allan, caught, stimuli, thresholds, unit_or_meter, warm_up
from flicker.present.charts._events import coincidence, cumulative, gaps, sizes, swings_ahead
from flicker.present.charts._frame import NothingToDraw, caption_of, note_of, worst_channel
from flicker.present.charts._glance import glance
from flicker.present.charts._level import levels_compared, power_ups, settled
from flicker.present.charts._mean_count import mean_cumulative, mean_cumulative_compared, visit_mean_cumulative
from flicker.present.charts._plans import before_after, levels_of_ledger, soak
from flicker.present.charts._rates import power_up_rates, power_up_rates_compared, rates
from flicker.present.charts._show import LIVE, answer_to, if_any, use_in_notebooks
from flicker.present.charts._strip import episode_places, episodes, overview
from flicker.present.charts._visits import visit_levels, visit_rates

__all__ = [
    "LIVE",
    "ORDER",
    "NothingToDraw",
    "allan",
    "answer_to",
    "before_after",
    "caption_of",
    "caught",
    "coincidence",
    "cumulative",
    "episode_places",
    "episodes",
    "gaps",
    "glance",
    "if_any",
    "levels_compared",
    "levels_of_ledger",
    "mean_cumulative",
    "mean_cumulative_compared",
    "note_of",
    "overview",
    "power_up_rates",
    "power_up_rates_compared",
    "power_ups",
    "rates",
    "settled",
    "sizes",
    "soak",
    "stimuli",
    "swings_ahead",
    "thresholds",
    "unit_or_meter",
    "use_in_notebooks",
    "visit_levels",
    "visit_mean_cumulative",
    "visit_rates",
    "warm_up",
    "worst_channel",
]
