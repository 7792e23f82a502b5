"""What comes next, and what would have reached the loudspeaker: one module each.

`protection` and `exposure` (relay, chance of a trip), `forecast` (a level's way to the threshold), `swings_ahead` (sizes that
grow), `end_state` (a unit that died), `bench` (the next hours, the meter's eye). They take answers; they give no verdict.
"""
