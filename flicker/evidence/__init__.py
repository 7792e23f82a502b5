"""The questions a technician asks of a log, and the answers.

`assessment` judges the runs of one unit: `record/` gathers a channel's traces, `questions/` holds what is asked,
`findings` the answers and their correction (Holm), `guard` what raw readings forbid, `verdict` the word and the fitness.
`compare/` is before against after, `visits/` months apart, `watch/` as it happens, `soaking/` plans, `job` a whole case;
`document/` makes tables of them.
"""
