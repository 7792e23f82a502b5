"""What several rooms of the statistics lean on: `event_runs`, `count_tails` (laws of counts), `scatter` (how power-ups differ)."""
