"""`python -m flicker` is the command line; stopping it by hand ends it in one line, also while modules load."""

import os
import sys

try:
    from flicker.cli import program

    program()
except KeyboardInterrupt:
    sys.stderr.write("flicker: stopped.\n")
    sys.stderr.flush()
    os._exit(130)  # not `sys.exit`: after an interrupt within an import Python would end by the signal instead
