"""What the logs hold before anything is asked of it.

`channel_record` (all runs of one channel), `starts` (what a power-up is), `power_up_counts` (episodes of each power-up),
`over_range` (what such swings are at least), `overlaps` (a second is observed once, whatever was given twice), `log_checks` (what a tired hand does to a log), `accuracy` (of the meters).
"""
