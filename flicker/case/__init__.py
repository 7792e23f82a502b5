"""The job: one TOML file with unit, complaint, channels, meter, logs and parts.

`case_file` reads and writes it, `model` holds the frozen records, `places` finds its keys, `reading` holds how its
logs are read.
"""
