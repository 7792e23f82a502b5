"""Tables of columns: `tables` opens Parquet and Arrow files, `frames` takes data in memory, `columnar_log` reads both."""
