"""What would a protection relay have done? Readings and a relay's description in, clicks and exposure out.

`scan` feeds a log's readings, `machine` is the state of one relay, `records` its description and results.
"""

from __future__ import annotations

from flicker.signals.relay.records import Relay, RelayOutcome, RelayRecord, RelayTotal, add_up
from flicker.signals.relay.scan import relay_sequence, scan_relay, scan_relays, what_if

__all__ = [
    "Relay",
    "RelayOutcome",
    "RelayRecord",
    "RelayTotal",
    "add_up",
    "relay_sequence",
    "scan_relay",
    "scan_relays",
    "what_if",
]
