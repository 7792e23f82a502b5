"""The job: one TOML file with unit, complaint, channels, meter, logs and parts.

`case_file` reads and writes it, `model` holds the frozen records, `document` takes values and says their lines, `reading` how its
logs are read.
"""
