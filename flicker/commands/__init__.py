"""One module per command: `add_arguments(parser)` and `run(arguments) -> exit code`. Thin: parse, call, print."""
