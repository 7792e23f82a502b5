"""What a log is and how one is read.

`model` holds `Log`, `Run` and `Gap`, `source` where samples come from, `sampling` when the meter was looking, `marks` what
the hands did, `meter` what a meter cannot see; `reading/` turns files into logs, `growing` follows one being written.
"""
