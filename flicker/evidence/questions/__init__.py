"""The questions put to one channel: one module each, a `Finding` out.

`recurrence`, `worsening` (more often, larger, worse with age), `drift`, `condition` (noise, settled offset, power-up),
`protection`, `stimulus`, `control`, `warmup`, `together`; `auxiliary_channels` reads what stands beside the outputs.
"""
