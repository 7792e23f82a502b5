"""What invented exports share: the measurement, how it is written down, and the judge that reads it as a user would.

The judge reads the file in Python; where something is asked, it gives the options that the sentence names to `flicker look`,
with the truth of the file for answers, and reads with the same options.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import json
import re
import shlex
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from fresh_parts import Floats

SCALE = {"V": 1.0, "mV": 1e-3, "µV": 1e-6}
SIDES = {"en": ("Left", "Right"), "de": ("Links", "Rechts"), "fr": ("Gauche", "Droite"), "es": ("Izquierda", "Derecha"),
         "it": ("Sinistra", "Destra"), "nl": ("Links", "Rechts")}  # fmt: skip
CLOCK = {"en": ("Date", "Time"), "de": ("Datum", "Zeit"), "fr": ("Date", "Heure"), "es": ("Fecha", "Hora"), "it": ("Data", "Ora"), "nl": ("Datum", "Tijd")}
MEANS = {"en": ("avg", "Average", "mean", "ave."), "de": ("MW", "Mittelwert", "Mittel", "Ø", "Durchschnitt"), "fr": ("moy.", "moyenne", "Moy"),
         "es": ("media", "promedio", "prom."), "it": ("media", "valor medio", "med."), "nl": ("gem.", "gemiddelde", "gemiddeld")}  # fmt: skip
SPREADS = {"en": ("std", "SD", "std dev"), "de": ("StdAbw", "Std.-Abw."), "fr": ("écart-type", "éc. type"), "es": ("desv. est.", "desv"), "it": ("dev. std", "scarto tipo"), "nl": ("std.afw.", "sd")}
COUNTS = {"en": ("count", "n", "samples"), "de": ("Anzahl", "n"), "fr": ("nombre", "nb"), "es": ("cuenta", "núm."), "it": ("conteggio", "n"), "nl": ("aantal", "n")}
LEAST = {"en": ("min", "max"), "de": ("Min", "Max"), "fr": ("min.", "max."), "es": ("mín", "máx"), "it": ("minimo", "massimo"), "nl": ("min", "max")}


@dataclass
class Export:
    """The bytes of a file and its truth: volts by output (``nan`` no reading, ``inf`` over range), seconds, start."""

    family: str
    data: bytes
    time_s: Floats
    volts: dict[str, Floats]
    start: dt.datetime | None
    facts: dict[str, object]
    asks: str = "no"  # 'yes' where the file leaves it open, 'may' where asking is no fault
    breaks: tuple[int, ...] = ()  # rows before which an unknown time passed
    dashes: bool = False  # words that may be over range or no reading


@dataclass
class Bench:
    """One measurement and how it is written down."""

    rng: np.random.Generator
    family: str
    locale: str = "en"
    sep: str = ","
    dec: str = "."
    end: str = "\n"
    coding: str = "utf-8"
    unit: str = "mV"
    names: list[str] = field(default_factory=list)
    step: float = 1.0
    t: Floats = field(default_factory=lambda: np.empty(0))
    start: dt.datetime = dt.datetime(2031, 3, 4)
    volts: Floats = field(default_factory=lambda: np.empty((0, 0)))
    text: list[list[str]] = field(default_factory=list)
    lead: tuple[str, ...] = ()

    def pick(self, *of: str) -> str:
        """Draw one."""
        return of[int(self.rng.integers(len(of)))]

    def num(self, x: float, digits: int = 1) -> str:
        """Write a number with the decimal sign of the file."""
        return f"{x:.{digits}f}".replace(".", self.dec)

    def write(self, unit: str, *, digits: int | None = None, form: Callable[[str], str] = lambda c: c) -> None:
        """Round to the digits of the file, keep that as the truth, and write the cells."""
        self.unit, d = unit, {"V": 4, "mV": 1, "µV": 0}[unit] if digits is None else digits
        scaled = np.round(self.volts / SCALE[unit], d) + 0.0
        self.text = [[form(self.num(x, d)) for x in row] for row in scaled]
        self.volts = scaled * SCALE[unit]

    def pace(self, *steps: float) -> None:
        """Draw the time from row to row."""
        self.step = float(self.rng.choice(steps))
        self.t = np.arange(len(self.volts)) * self.step

    def at(self, i: int) -> dt.datetime:
        """Give the moment of a row."""
        return self.start + dt.timedelta(microseconds=round(float(self.t[i]) * 1e6))

    def iso(self, i: int, mark: str = " ") -> str:
        """Give the moment as ISO 8601."""
        return self.at(i).isoformat(sep=mark, timespec="seconds" if self.step >= 1 else "milliseconds")

    def row(self, cells: Sequence[str]) -> str:
        """Join cells, quoting those that hold the separator."""
        return self.sep.join(f'"{c}"' if self.sep in c and not c.startswith('"') else c for c in cells)

    def headed(self, lead: Sequence[str] = ("Timestamp",), form: str = "{n} [{u}]") -> str:
        """Give a header: the columns of time, then the outputs."""
        self.lead = tuple(lead)
        return self.row((*lead, *[form.format(n=n, u=self.unit) for n in self.names]))

    def rows(self, lead: Callable[[int], Sequence[str]] | None = None) -> list[str]:
        """Give the rows of data."""
        return [self.row((*(lead(i) if lead else [self.iso(i)]), *r)) for i, r in enumerate(self.text)]

    def done(self, lines: list[str], labels: Sequence[str] | None = None, **more: object) -> Export:
        """Encode the lines and hand over the truth."""
        facts: dict[str, object] = {"unit": self.unit, "decimal": self.dec, "sample_interval_s": self.step, "time_unit": "s", "separator": {"\t": "tab", " ": "space"}.get(self.sep, self.sep)}
        facts.update({"time_column": self.lead[0]} if len(self.lead) == 1 else {})
        facts.update(more.pop("facts", {}))  # type: ignore[call-overload]
        text = "".join(line + self.end for line in lines)
        mark = {"utf-16-le": b"\xff\xfe", "utf-16-be": b"\xfe\xff"}.get(self.coding, b"")
        volts = {label: self.volts[:, k] for k, label in enumerate(labels or self.names)}
        what: dict[str, object] = {"start": self.start, **more}
        return Export(self.family, mark + text.encode(self.coding, errors="replace"), self.t, volts, facts=facts, **what)  # type: ignore[arg-type]


def bench(seed: int, family: str) -> Bench:
    """Draw what is measured: one or two outputs at rest, with a few swings of 0.1 to 30 V."""
    rng = np.random.default_rng([seed, 61, *map(ord, family)])
    b = Bench(rng, family)
    b.locale = b.pick(*SIDES)
    b.dec = "." if b.locale == "en" else ","
    b.sep = b.pick(",", "\t", ";") if b.dec == "." else b.pick(";", ";", "\t")
    b.end, b.coding = b.pick("\n", "\r\n"), b.pick("utf-8", "utf-8", "utf-8-sig", "latin-1")
    n, k = int(rng.integers(50, 160)), int(rng.integers(1, 3))
    b.names = list(SIDES[b.locale][:k])
    b.start = dt.datetime(2027, 1, 1) + dt.timedelta(days=int(rng.integers(1200)), seconds=int(rng.integers(70_000)))
    b.start = b.start.replace(day=int(rng.integers(13, 28)))
    v = rng.normal(0, 8e-3, k) + 5e-4 * rng.standard_normal((n, k))
    for c in range(k):
        for at in rng.integers(4, n - 6, int(rng.integers(1, 4))):
            v[at : at + int(rng.integers(1, 5)), c] += rng.choice([-1, 1]) * np.exp(rng.uniform(np.log(0.1), np.log(30)))
    b.volts = v
    b.pace(0.5, 1.0, 2.0, 5.0, 30.0)
    b.write(b.pick("mV", "mV", "V"))
    return b



# ---------------------------------------------------------------- the judge

TOLD = re.compile(r"\b(rows?|lines?|readings?|cells?|runs?|times?|samples?|stamps?)\b", re.IGNORECASE)
PLURAL = {"missing_word": "missing_words", "over_word": "over_words", "sample_interval": "sample_interval_s", "role": "roles"}


def _words(name: str) -> set[str]:
    return set(re.findall(r"[^\W_]+", name.lower()))


def differs(file: Export, log: object) -> tuple[str, str]:
    """Compare with the truth: the first difference (empty where none), and whether it is 'values', 'rows' or 'name'."""
    frame, runs = log.to_frame(), log.runs  # type: ignore[attr-defined]
    names = [c for c in frame.columns if c not in ("run", "time_s")]
    if len(names) != len(file.volts):
        return f"outputs read: {', '.join(names)}; truly: {', '.join(file.volts)}", "values"
    got_v = {n: np.asarray(frame[n], dtype=float) for n in names}
    by_name = [[n for n in names if _words(label) <= _words(n)] for label in file.volts]
    sure = all(len(x) == 1 for x in by_name) and len({x[0] for x in by_name}) == len(names)
    order = [x[0] for x in by_name] if sure else names
    run = np.asarray(frame["run"])
    t = np.asarray(frame["time_s"]) + np.array([r.offset_s for r in runs])[run]
    keep = ~np.all([np.isnan(v) for v in got_v.values()], axis=0)
    real = ~np.all([np.isnan(v) for v in file.volts.values()], axis=0)
    if keep.sum() != real.sum():
        return f"{int(keep.sum())} rows with a reading instead of {int(real.sum())}", "rows"
    for label, n in zip(file.volts, order, strict=True):
        a, b = got_v[n][keep], file.volts[label][real]
        if np.any(np.isfinite(a) & ~np.isfinite(b)):
            return f"{n}: a number where there is none", "values"
        if np.any(~np.isfinite(a) & np.isfinite(b)):
            return f"{n}: {int(np.sum(~np.isfinite(a) & np.isfinite(b)))} readings lost", "rows"
        if not file.dashes and np.any(np.isinf(b) != np.isinf(a)):
            return f"{n}: over range and no reading mixed up", "values"
        ok = np.isfinite(a) & np.isfinite(b)
        if np.any(off := np.abs(a[ok] - b[ok]) > 1e-9 + 1e-6 * np.abs(b[ok])):
            return f"{n}: {float(a[ok][off][0]):.6g} V instead of {float(b[ok][off][0]):.6g} V, {int(off.sum())} of {off.size}", "values"
    at, true_t = t[keep], (file.time_s - file.time_s[0])[real]
    for lo, hi in zip((0, *file.breaks), (*file.breaks, real.size), strict=True):
        some = slice(int(real[:lo].sum()), int(real[:hi].sum()))
        a, b = at[some], true_t[some]
        step = float(np.median(np.diff(file.time_s[:50])))
        if a.size and np.max(off := np.abs(a - a[0] - (b - b[0]))) > 0.01 * step + 1e-3:
            i = int(np.argmax(off > 0.01 * step + 1e-3))
            return f"time: row {i} at {a[i] - a[0]:.4f} s instead of {b[i] - b[0]:.4f} s", "values"
    if file.start is not None:
        first = runs[0].start
        if first is None:
            return f"no start instead of {file.start}", "start"
        if abs((first.replace(tzinfo=None) - file.start.replace(tzinfo=None)).total_seconds()) > 0.6:
            return f"starts {first} instead of {file.start}", "values"
    if not sure and all(_words(label) for label in file.volts):
        return f"called {', '.join(names)} instead of {', '.join(file.volts)}", "name"
    return "", ""


def _options(file: Export, said: str, settle: str) -> list[tuple[str, str]]:
    """Take the options named by a refusal, and answer each with the truth of the file."""
    offered = re.findall(r"(--[a-z-]+)(?: (\"[^\"]*\"|[^\s()]+))?", settle or " ".join(re.findall(r"\((--[^)]*)\)", said)))
    out: list[tuple[str, str]] = []
    plain = {str(file.facts["unit"]).lower()}
    outputs = [_words(str(c)) - plain for c in file.facts.get("channels", file.volts)]  # type: ignore[attr-defined]
    about = re.findall(r'column "([^"]*)"', said)
    unfit = bool(about) and "channels" in file.facts and not any(_words(c) - plain in outputs for c in about)
    for option, value in offered:
        name = option[2:].replace("-", "_")
        value = value.strip('"')
        name = PLURAL.get(name, name)
        if name in ("missing_words", "over_words"):
            over = value in file.facts.get("over_words", ())  # type: ignore[operator]
            out.append(("--over-word" if over else "--missing-word", value))
        elif name == "channels" and "channels" in file.facts:
            wanted = file.facts["channels"]
            if "channels_plain" in file.facts and not all(_words(w) <= _words(said) and f'"{w}' in said for w in wanted):  # type: ignore[attr-defined]
                wanted = file.facts["channels_plain"]
            out.append((option, ",".join(wanted)))  # type: ignore[arg-type]
        elif name == "unit" and "=" in value:
            column = value.split("=")[0]
            out += [(option, f"{column}={file.facts['unit']}")] * (_words(column) - plain in outputs)
        elif name == "unit" and unfit:
            continue  # the unit of a column that is no output: there is no true answer
        elif name == "day_first" and "day_first" in file.facts:
            out.append((option, "yes" if file.facts["day_first"] else "no"))
        elif name in file.facts and name != "channels":
            if file.facts[name] == "":
                continue  # none of the choices is true
            out.append((option, str(file.facts[name])))
        elif value and value.upper() != value and "|" not in value:
            out.append((option, value))
    if not settle:
        out = sorted(out, key=lambda o: o[0] != "--time-column")[:1]
    return list(dict.fromkeys(out))


def _keywords(options: Sequence[tuple[str, str]]) -> dict[str, object]:
    """Turn options of the command line into those of `read_log`: the same names."""
    out: dict[str, object] = {}
    for option, value in options:
        name = PLURAL.get(option[2:].replace("-", "_"), option[2:].replace("-", "_"))
        if name in ("missing_words", "over_words"):
            out[name] = (*out.get(name, ()), value)  # type: ignore[misc]
        elif name == "channels":
            out[name] = value.split(",")
        elif name == "roles":
            out[name] = {**out.get(name, {}), **dict([value.split("=", 1)])}  # type: ignore[dict-item]
        elif name in ("sample_interval_s", "volts_per_count", "zero_count"):
            out[name] = float(value)
        elif name == "unit" and "=" in value:
            out[name] = {**out.get(name, {}), **dict([value.rsplit("=", 1)])}  # type: ignore[dict-item]
        else:
            out[name] = value == "yes" if name == "day_first" else value
    return out


def look(path: Path, options: Sequence[tuple[str, str]]) -> dict[str, object]:
    """Run `flicker look FILE --json` with options; what it prints, or its sentence as 'missing'."""
    from flicker.cli import main

    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = main(["look", str(path), "--json", *[f"{o}={v}" for o, v in options]])
        except SystemExit as end:
            code = end.code  # type: ignore[assignment]
    if code != 0:
        return {"missing": f"exit code {code}: {err.getvalue().strip()[-300:]}", "settle": None}
    return json.loads(out.getvalue())  # type: ignore[no-any-return]


def judge(file: Export, folder: Path) -> tuple[str, str]:
    """Read as a user would, up to four questions; the outcome, and what was wrong or said."""
    from flicker import read_log

    path = folder / f"{file.family}.csv"
    path.write_bytes(file.data)
    options: list[tuple[str, str]] = []
    said: list[str] = []
    for _ in range(5):
        try:
            log = read_log(path, **_keywords(options))
        except ValueError as error:
            said.append(str(error).replace(str(path), path.name))
            answer = look(path, options)
            new = [o for o in _options(file, said[-1], str(answer.get("settle") or "")) if o not in options]
            if not new and "split" in file.facts and "split the file" in said[-1]:
                return "asked, right", said[-1]
            if not new:
                return ("asked, advice fails" if options else "refused, no way out"), " // ".join(said) + f" {_line(options)}"
            options += new
            continue
        except Exception as error:  # anything else is a crash, which is what is looked for
            return "CRASH", f"{type(error).__name__}: {error} {_line(options)}"
        wrong, what = differs(file, log)
        notes = [n for r in log.runs for n in r.notes]
        why = " // ".join([wrong, *said]) + f" {_line(options)} notes: {' '.join(dict.fromkeys(notes))}"
        if options and (seen := look(path, options))["missing"]:
            return "asked, advice fails", f"the command line still says: {seen['missing']} // " + why
        if what == "rows" and any(TOLD.search(n) and re.search(r"\d|\bone\b", n) for n in notes):
            return "not all read, but told", why
        if wrong:
            return ({"name": "misnamed", "start": "start not read"}.get(what) or ("wrong after an answer" if said else "SILENTLY WRONG")), why
        if said:
            return ("asked, right" if file.asks != "no" else "asked needlessly, right"), why
        return ("right unasked" if file.asks != "yes" else "guessed, right"), why
    return "asked, advice fails", " // ".join(said) + f" {_line(options)}"


def _line(options: Sequence[tuple[str, str]]) -> str:
    return "[" + " ".join(f"{o} {shlex.quote(v)}" for o, v in options) + "]" if options else ""
