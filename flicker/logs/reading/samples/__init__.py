"""Columns become seconds and volts (`converter`), and rows become samples (`kept_rows`), for text and tables alike.

Samples are kept (`spool`), their times mended or spread (`row_times`), and made one row of each time (`long_format`).
`per_reading` applies a unit, sign or mode of each reading; `entries` collects a column of marks.
"""
