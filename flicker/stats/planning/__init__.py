"""How long to watch: the parts behind `flicker.stats.soak`.

`comparison_plan` (power of a comparison of two Poisson counts), `power_cycles` (soaks that restart), `seen_share` (what a
sampling meter can see).
"""
