"""Samples once they are numbers: kept (`spool`), spread over coarse stamps (`spread`), one row of each time (`long_format`).

`per_reading` applies a unit, sign or mode of each reading; `entries` collects a column of marks.
"""
