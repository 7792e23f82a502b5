"""The questions put to one channel: one module each, a `Finding` out.

`recurrence`, `worsening` (more often, larger, worse with age), `drift`, `level_jumps`, `condition` (noise, settled offset,
power-up, protection), `stimulus`, `control`, `together`; `auxiliary_channels` reads what stands beside the outputs. Where
and when stands in `evidence.located`, what comes next in `evidence.outlook`.
"""
