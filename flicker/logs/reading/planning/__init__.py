"""What each column is, decided before anything is read: `plan` composes it.

`columns` holds what is known of a column and what the caller said; `sampled` tells its kind from sample cells,
`time_columns` which columns tell the time, `unit_evidence` the units, `extra_columns`, `beside` and `aids` the rest.
"""
