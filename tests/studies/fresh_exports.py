"""Text files as spreadsheets, scripts, databases, serial monitors and data frames export them, with known truth. Invented.

By a hand that has not read the reader. The forms come from general habits (common practice, no source); no product's
format is meant. The judge goes as a user would: it reads the file, and where something is asked it gives what the
sentence names to the command line.

    python tests/studies/fresh_exports.py --seed 1 --n 20
    python tests/studies/fresh_exports.py --seed 1 --n 2 --mutate 1     # the judge must notice each change of the truth
"""

from __future__ import annotations

import datetime as dt
import sys
import tempfile
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import fresh_export_forms as forms
import fresh_export_times as times
import numpy as np
from fresh_export_parts import Bench, Export, bench, judge
from fresh_parts import runner, table

FAMILIES: dict[str, Callable[[Bench], Export]] = {
    f.__name__: f
    for f in (
        forms.thousands, forms.negatives, forms.ranged_in_cell, forms.ranged_beside, forms.unit_above, forms.scaled_header,
        forms.two_units, forms.open_units, forms.two_headers, forms.statistics, forms.companions, forms.row_numbers,
        forms.remarks, forms.sparse, forms.key_value, forms.json_lines, forms.fixed_width, forms.query_table, forms.swapped_order, forms.units_in_words, forms.range_above,
        forms.units_differ, forms.reckoned, forms.comma_everywhere, forms.small_steps, forms.spread_beside,
        times.iso_zone, times.local_stamps, times.month_first, times.epoch, times.wrapping_counter, times.elapsed,
        times.block_heads, times.winter_time, times.restarts, times.over_marks, times.quoted_numbers, times.comments_within,
        times.encodings, times.start_above, times.long_rows, times.repeated_rows, times.footers, times.date_above, times.compact_stamps, times.time_last, times.changed_header,
    )
}  # fmt: skip


def export(family: str, seed: int) -> Export:
    """Make a file of a family of `FAMILIES`. Invented."""
    return FAMILIES[family](bench(seed, family))


def mutants(file: Export) -> dict[str, Export]:
    """Change the truth in one thing each; the judge must notice every one."""
    first = next(iter(file.volts))
    v = file.volts[first]
    i = int(np.flatnonzero(np.isfinite(v))[5])
    one = v.copy()
    one[i] += 1e-3 + 0.01 * abs(v[i])
    late = file.time_s.copy()
    late[3:] += 0.5 * (late[1] - late[0])
    out = {"scale": {first: v * 1e3}, "sign": {first: -v}, "one reading": {first: one}, "one lost": {first: np.where(np.arange(v.size) == i, np.nan, v)}}
    made = {name: replace(file, volts={**file.volts, **change}) for name, change in out.items()}
    made["time"] = replace(file, time_s=late)
    if file.start is not None:
        made["date"] = replace(file, start=file.start + dt.timedelta(days=1))
    if len(file.volts) == 2:
        made["channel"] = replace(file, volts=dict(zip(file.volts, reversed(file.volts.values()), strict=True)))
        made["column"] = replace(file, volts={first: v})
    return made


OUTCOMES = ("right unasked", "asked, right", "asked needlessly, right", "guessed, right", "not all read, but told", "start not read", "misnamed",
            "refused, no way out", "asked, advice fails", "wrong after an answer", "SILENTLY WRONG", "CRASH")  # fmt: skip


def main() -> None:
    """Print, family by family, how files were read, and below each file that was not read right."""
    args = runner(__doc__ or "", add=(("mutate", 0),))
    rows, notes = [], []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for family in FAMILIES:
            if args.only not in family:
                continue
            said: Counter[str] = Counter()
            for seed in range(args.seed * 1000, args.seed * 1000 + args.n):
                file = export(family, seed)
                what, why = judge(file, folder)
                said[what] += 1
                if what not in OUTCOMES[:2]:
                    head = file.data[:400].decode(codec(file.data), errors="replace").splitlines()[:4]
                    notes.append(f"{family} seed {seed}: {what}: {why[:600]}\n    " + "\n    ".join(head))
                if args.mutate and what == "right unasked":
                    missed = [n for n, m in mutants(file).items() if judge(m, folder)[0] in OUTCOMES[:4]]
                    notes += [f"{family} seed {seed}: THE JUDGE DOES NOT NOTICE: {', '.join(missed)}"] * bool(missed)
            rows.append((family, *[said[w] or "" for w in OUTCOMES]))
            print(*rows[-1], sep=" | ", file=sys.stderr, flush=True)
    print(table(("family", *OUTCOMES), rows))
    print("\n".join(notes))


def codec(data: bytes) -> str:
    """Tell how a file is encoded, for showing its first lines."""
    return {b"\xff\xfe": "utf-16", b"\xfe\xff": "utf-16"}.get(data[:2], "utf-8" if data.isascii() or b"\xc2" in data or b"\xc3" in data or b"\xe2" in data else "latin-1")


if __name__ == "__main__":
    main()
