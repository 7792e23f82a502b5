"""What comes next, and what would have reached the loudspeaker: one module each.

`protection` (relay, chance of a trip), `swings_ahead` (sizes that grow), `end_state` (a unit that died, and a level's way to
the threshold), `bench` (the next hours, the meter's eye), `planned_falls` (what to log around a repair). They take answers; they give no verdict.
"""
