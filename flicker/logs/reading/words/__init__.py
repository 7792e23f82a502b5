"""What a word or a cell says: a number (`numerals`), an odd cell (`odd_cells`), a time (`clock`), a unit (`units`).

`vocabulary` holds the words that loggers use.
"""
