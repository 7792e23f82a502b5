"""`python -m flicker` is the command line."""

import sys

from flicker.start import program

sys.exit(program())
