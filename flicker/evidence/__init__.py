"""The questions a technician asks of a log."""
