"""From samples to baseline, noise, excursions and observed time.

`trace` composes: `blocks` (one pass), `startup`, `baseline`, `excursions`, `ranges`, `levels`; `connection/` asks what the
lead was looking at, `relay/` what a protection relay would have done, `guard/` gathers figures of the raw readings.
`draft` and `conclusion` are the two halves of a trace; `cache` keeps blocks, `live` does the same as it happens.
"""
