"""Columns become seconds (`seconds`) and volts (`cell_numbers`), for text and tables alike.

Then samples are kept (`spool`), spread over coarse stamps (`spread`), and made one row of each time (`long_format`).
`per_reading` applies a unit, sign or mode of each reading; `entries` collects a column of marks.
"""
