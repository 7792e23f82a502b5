"""Write tests/data/stats_recorded.json anew, after a change of results on purpose: python tests/tools/record_stats.py.

Look at the difference before it is committed: every changed figure must be one that was meant to change.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

TESTS = Path(__file__).parents[1]
sys.path[:0] = [str(TESTS), str(TESTS.parent)]
from recorded_calls import FUNCTIONS, inner, inner_sentences, results, sentences  # noqa: E402


def main() -> None:
    """Write the record; say which wrong calls are accepted, so that none is recorded by oversight."""
    record = {
        "results": {name: results(name) for name in FUNCTIONS},
        "sentences": {name: sentences(name) for name in FUNCTIONS},
    }
    record["results"]["inner"], record["sentences"]["inner"] = inner(), inner_sentences()
    for said in record["sentences"].values():
        for key in [key for key, text in said.items() if text == "(no error)"]:
            print("accepted:", key)
    text = json.dumps(record, indent=0, allow_nan=False, ensure_ascii=False)
    (TESTS / "data" / "stats_recorded.json").write_text(text + "\n", encoding="utf-8")
    print(
        sum(map(len, record["results"].values())), "results,", sum(map(len, record["sentences"].values())), "sentences"
    )


if __name__ == "__main__":
    main()
