"""`python -m flicker` is the command line; stopping it by hand ends it in one line, also while modules load."""

import sys

try:
    from flicker.cli import program

    code = program()
except KeyboardInterrupt:
    print("flicker: stopped.", file=sys.stderr)
    code = 130
sys.exit(code)
