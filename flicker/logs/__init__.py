"""What a log is and how one is read."""
