"""Write tests/data/stats_recorded.json anew, after a change of figures on purpose: python tests/tools/record_stats.py.

Look at the difference before it is committed: every changed figure must be one that was meant to change.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(TESTS), str(TESTS.parent)]
from recorded_calls import FUNCTIONS, inner, results  # noqa: E402


def main() -> None:
    """Write the record."""
    record = {name: results(name) for name in FUNCTIONS} | {"inner": inner()}
    text = json.dumps(record, indent=0, allow_nan=False, ensure_ascii=False)
    (TESTS / "data" / "stats_recorded.json").write_text(text + "\n", encoding="utf-8")
    print(sum(map(len, record.values())), "results")


if __name__ == "__main__":
    main()
