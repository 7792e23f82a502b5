"""What every room stands on; nothing here imports another room of the package.

`result` is the base of every result class and says what a key of a document means, `check` refuses bad
arguments in one sentence, `limits` holds what is large enough to matter, `values` the enumerations, `formats` numbers in
words, `units` seconds in an hour.
"""
