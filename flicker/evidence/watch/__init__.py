"""Following a log that is still being written.

`watching` holds the rule and its results, `watcher` feeds it sample by sample, `followed` is what it
remembers of one channel, its alarms by volts among it.
"""
