"""What every room stands on: results that serialise, checks of arguments, the limits.

`result` is the base of every result class, `check` refuses bad arguments in one sentence, `limits` holds what is large
enough to matter on the bench. Nothing here imports another room of the package.
"""
