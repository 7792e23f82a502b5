"""What each column is, decided before anything is read: `plan` composes it.

`columns` holds what is known of a column, what the caller said, and the task that goes through all of it; `sampled` tells
a column's kind from its words and sample cells, `time_columns` which columns tell the time, `heading` what the lines above
tell of it, `unit_evidence` the units, `beside` the rest.
"""
