"""Where and when: described once a question was answered, and counted by time since switch-on.

`moves` (where the level lay elsewhere), `rate_since` (since when the rate is another), `warmup` (rate by time since
power-up), `power_up_history` (this power-up against the others; mean cumulative function).
"""
