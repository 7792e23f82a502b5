"""Where the program begins: stopping it by hand ends it in one line, at any time, also while modules load."""

import sys


def program() -> int:
    """Run the command line in a process of its own; return the exit code."""
    try:
        from flicker.cli import program as run

        return run()
    except KeyboardInterrupt:
        print("flicker: stopped.", file=sys.stderr)
        return 130


if __name__ == "__main__":
    sys.exit(program())
