"""Levels, trends, changes and noise of equally spaced values: the parts behind `trends`, `changepoints` and `noise`.

`kendall_law` (Mann-Kendall, Theil-Sen), `movement`, `change_search`, `segments`,
`digits` (noise behind a coarse last digit), `follows`; `*_tables` hold simulated critical values.
"""
