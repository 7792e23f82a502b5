"""Text logs: `sniff` finds the layout, `csv_parser` cuts blocks of lines into columns, `text_log` makes samples of them.

What the fast way cannot take goes to `odd_rows` (lines that are no rows), `grouped_rows` (commas in two senses) and
`samples/converter` (odd cells).
"""
