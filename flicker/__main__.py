"""`python -m flicker` is the command line."""

import sys

from flicker.cli import main

sys.exit(main())
