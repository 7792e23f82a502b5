"""`python -m flicker` is the command line."""

import sys

from flicker.cli import program

sys.exit(program())
