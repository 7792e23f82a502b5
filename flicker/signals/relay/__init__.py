"""What would a protection relay have done? Readings and a relay's description in, clicks and exposure out.

`scan` feeds a log's readings, `machine` is the state of one relay, `records` its description and results.
"""

from __future__ import annotations

from flicker.signals.relay.records import Relay, RelayOutcome, RelayRecord, RelayTotal, add_up
from flicker.signals.relay.scan import scan_relay, scan_relays

__all__ = [
    "Relay",
    "RelayOutcome",
    "RelayRecord",
    "RelayTotal",
    "add_up",
    "scan_relay",
    "scan_relays",
]
