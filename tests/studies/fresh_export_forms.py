"""Families of invented exports: how numbers, units, headers and columns are written. See `fresh_exports`."""

from __future__ import annotations

import re

import numpy as np
from fresh_export_parts import COUNTS, LEAST, MEANS, SCALE, SIDES, SPREADS, Bench, Export

# ---------------------------------------------------------------- numbers and units



def thousands(b: Bench) -> Export:
    """A spreadsheet's decimal comma and a mark between thousands; microvolts reach millions."""
    b.sep, b.dec, b.coding = ";", ",", "utf-8"
    mark = b.pick(".", "'", "’", "\u2009", "\u202f", " ")
    group = lambda c: re.sub(r"(?<=\d)(?=(\d{3})+(,|$))", mark, c)  # noqa: E731
    b.write(b.pick("mV", "µV"), digits=int(b.rng.integers(2)), form=group)
    return b.done([b.headed(), *b.rows()], asks="may" if mark == "." and b.unit == "µV" else "no")


def negatives(b: Bench) -> Export:
    """Negative in parentheses, with the typographic minus or a dash, or with the sign behind."""
    b.coding = "utf-8"
    form = b.pick("({})", "−{}", "–{}", "{}-", "- {}")
    b.write(b.unit, form=lambda c: form.format(c[1:]) if c.startswith("-") else c)
    return b.done([b.headed(), *b.rows()], asks="may" if form[0] == "–" or form[-1] == "-" else "no")


def ranged(b: Bench, micro: str) -> list[list[tuple[str, str]]]:
    out = []
    for i, r in enumerate(b.volts):
        out.append([])
        for k, v in enumerate(r):
            unit, digits = ("V", 3) if abs(v) >= 2 else ("mV", 1) if abs(v) >= 2e-3 else ("µV", 0)
            x = round(float(v) / SCALE[unit], digits)
            b.volts[i, k] = x * SCALE[unit]
            out[-1].append((b.num(x, digits), micro if unit == "µV" else unit))
    return out


def ranged_in_cell(b: Bench) -> Export:
    """Auto-ranging: every cell with the unit behind its number, with or without a space."""
    gap = b.pick("", " ", "  ")
    b.text = [[c + gap + u for c, u in r] for r in ranged(b, b.pick("µV", "uV"))]
    return b.done([b.row(("Timestamp", *b.names)), *b.rows()])


def ranged_beside(b: Bench) -> Export:
    """Auto-ranging: a column of units beside each output."""
    word = {"de": "Einheit", "fr": "Unité", "es": "Unidad", "it": "Unità", "nl": "Eenheid"}.get(b.locale, "Unit")
    form = b.pick("{w}", "{w} {n}", "{n} {w}")
    b.text = [[x for pair in r for x in pair] for r in ranged(b, b.pick("µV", "uV"))]
    heads = [x for n in b.names for x in (n, form.format(w=word, n=n))]
    return b.done([b.row(("Timestamp", *heads)), *b.rows()], asks="may")


def unit_above(b: Bench) -> Export:
    """The unit stands in a line above the header and nowhere else."""
    u = b.unit
    line = b.pick(f"Units: {u}", f"# unit = {u}", f"Einheit{b.sep}{u}", f"All values in {u}", f"Unité : {u}", {"mV": "Voltages in millivolts", "V": "Voltages in volts"}[u])
    return b.done(["Bench log", line, "", b.headed(form="{n}"), *b.rows()], asks="may" if "oltage" in line or "All" in line else "no")


def scaled_header(b: Bench) -> Export:
    """A scale in the header that is plain (1E-3 V), or that could be meant either way (V x1000, mV /10, mV/div)."""
    b.write("mV")
    plain = b.rng.random() < 0.4
    form = b.pick("{n} [1E-3 V]", "{n} (10^-3 V)", "{n} [V/1000]") if plain else b.pick("{n} [V x1000]", "{n} (mV x10)", "{n} [mV /10]", "{n} mV/div", "{n} [V] x1000", "{n} [mV] (1:10)")
    return b.done([b.headed(form=form), *b.rows()], asks="may" if plain else "yes")


def two_units(b: Bench) -> Export:
    """Two words of a unit for one column that agree, or contradict each other."""
    agree = b.rng.random() < 0.4
    other = b.unit if agree else {"mV": "V", "V": "mV"}[b.unit]
    if b.rng.random() < 0.5:
        lines = [b.headed(), b.row(("", *[other] * len(b.names)))]
    else:
        lines = [b.headed(form=b.pick("{n}_", "{n} ") + other + b.pick(" [{u}]", " ({u})"))]
    return b.done([*lines, *b.rows()], asks="no" if agree else "yes")


def open_units(b: Bench) -> Export:
    """No unit of the readings, none of the time, or counts of a converter: it cannot be told."""
    kind = b.pick("reading", "time", "comma")
    if kind == "reading":
        return b.done([b.headed(form="{n}"), *b.rows()], asks="yes")
    if kind == "time":
        return b.done([b.headed(lead=("t",)), *b.rows(lambda i: [b.num(b.t[i] * 1000, 0)])], asks="yes", start=None, facts={"time_unit": "ms"})
    b.sep, b.dec = ";", ","
    b.write("V", digits=3)
    return b.done([b.headed(), *b.rows()], asks="may", facts={"decimal": ","})


# ---------------------------------------------------------------- headers and columns


def two_headers(b: Bench) -> Export:
    """Names of outputs over names of quantities: said once and left empty beside, or said over each column."""
    again = b.rng.random() < 0.5
    low, high = LEAST[b.locale]
    mean = b.pick(*MEANS[b.locale])
    top = [x for n in b.names for x in (n, n if again else "", n if again else "")]
    below = [f"{w} [{b.unit}]" for _ in b.names for w in (mean, low, high)]
    b.text = [[x for k, c in enumerate(r) for x in (c, *[b.num(b.volts[i, k] / SCALE[b.unit] + s, 4) for s in (-0.01, 0.01)])] for i, r in enumerate(b.text)]
    return b.done([b.row(("", *top)), b.row(("Timestamp", *below)), *b.rows()], asks="may", facts={"channels": [f"{n} {mean}" for n in b.names], "channels_plain": [f"{mean} [{b.unit}]"]})


def statistics(b: Bench) -> Export:
    """Mean, least, largest, spread and count of each interval: only these, or beside the reading itself."""
    b.pace(10.0, 60.0)
    own = b.rng.random() < 0.5
    words = [b.pick(*MEANS[b.locale]), *LEAST[b.locale], b.pick(*SPREADS[b.locale]), b.pick(*COUNTS[b.locale])]
    words = [w for w in words if w is words[0] or b.rng.random() < 0.7]
    form = b.pick("{n} {w} [{u}]", "{w} {n} [{u}]", "{n} [{u}] {w}", "{n}_{w}_{u}", "{w}({n}) [{u}]", "{n} ({w}) [{u}]", "{n} [{u}] ({w})", "{n}.{w} ({u})")
    heads, cells = [], [[] for _ in b.text]
    for k, n in enumerate(b.names):
        heads += [f"{n} [{b.unit}]"] * own + [form.format(n=n, w=w, u="" if w in COUNTS[b.locale] else b.unit).replace("[]", "").replace("()", "").rstrip("_ ") for w in words]
        for i, r in enumerate(b.text):
            x, s = b.volts[i, k] / SCALE[b.unit], 0.0004 / SCALE[b.unit]
            of = {words[0]: r[k] if not own else b.num(x + s, 4), LEAST[b.locale][0]: b.num(x - 9 * s, 4), LEAST[b.locale][1]: b.num(x + 9 * s, 4)}
            cells[i] += [r[k]] * own + [of.get(w, "20" if w in COUNTS[b.locale] else b.num(s, 4)) for w in words]
    b.text = cells
    mine = [h for h in heads if h == heads[0] or (heads.index(h) % (len(words) + own)) == 0]
    return b.done([b.row(("Timestamp", *heads)), *b.rows()], asks="may", facts={"channels": mine})


def companions(b: Bench) -> Export:
    """Room, humidity, battery, mains, relay beside outputs of many names."""
    k = len(b.names)
    b.names = list([("L", "R"), ("A", "B"), ("CH1", "CH2"), ("Zone 1", "Zone 2"), ("Kanal 1", "Kanal 2"), ("Ausgang L", "Ausgang R"), ("Out A", "Out B"), ("SP1", "SP2")][int(b.rng.integers(8))][:k])
    all_of = [("Room temp (°C)", "21"), ("Raumtemperatur [°C]", "21"), ("T amb [C]", "22"), ("RH (%)", "45"), ("Luftfeuchte [%]", "45"), ("Battery (V)", "6"), ("Batterie [V]", "6"), ("Vbat [V]", "3"),
              ("Mains (V)", "231"), ("Netzspannung [V]", "229"), ("Secteur (V)", "230"), ("Tensione di rete [V]", "230"), ("Relay", "1"), ("Relais", "0"), ("Supply [V]", "12"),
              ("Netspanning [V]", "230"), ("Tensión de red [V]", "231"), ("Line voltage (V)", "118"), ("Alimentazione [V]", "24"), ("Versorgung [V]", "12"), ("Akku [V]", "7"), ("Batteria (V)", "9"), ("Pile (V)", "9")]  # fmt: skip
    those = [all_of[int(j)] for j in sorted(b.rng.choice(len(all_of), int(b.rng.integers(1, 5)), replace=False))]
    front = b.rng.random() < 0.4
    b.coding = "utf-8"
    side = lambda i: [x if x in "01" else b.num(float(x) + 0.01 * (i % 7), 2) for _, x in those]  # noqa: E731
    outs = [f"{n} [{b.unit}]" for n in b.names]
    lines = [b.row(("Timestamp", *([h for h, _ in those] if front else outs), *(outs if front else [h for h, _ in those])))]
    lines += [b.row((b.iso(i), *(side(i) if front else r), *(r if front else side(i)))) for i, r in enumerate(b.text)]
    return b.done(lines, asks="may", facts={"channels": outs})


def row_numbers(b: Bench) -> Export:
    """A column of row numbers: nameless as of a data frame, or called #, No., Nr., N°, idx."""
    head = b.pick("", "#", "No.", "Nr.", "N°", "idx", "Row", "Unnamed: 0")
    by = int(b.rng.integers(0, 2))
    return b.done([b.headed(lead=(head, "Timestamp")), *b.rows(lambda i: (str(i + by), b.iso(i)))])


def remarks(b: Bench) -> Export:
    """A last column of words, quoted where they hold the separator or a quote."""
    said = ["", "", "", f'"tapped{b.sep} twice"', '"board ""B"" pressed"', "warm", '"1,5 V seen"']
    head = b.pick("Remark", "Comment", "Bemerkung", "Note")
    lines = [b.headed() + b.sep + head]
    lines += [line + b.sep + said[int(b.rng.integers(len(said)))] for line in b.rows()]
    return b.done(lines)


def sparse(b: Bench) -> Export:
    """One output a row: the other cell stays empty, or each row says which output it is and its unit."""
    b.names = list(SIDES[b.locale])
    b.volts = np.hstack([b.volts, -0.5 * b.volts[::-1]])[:, :2]
    b.write(b.unit)
    n = len(b.volts)
    b.volts[np.arange(n), 1 - np.arange(n) % 2] = np.nan
    if b.rng.random() < 0.5:
        for i in range(n):
            b.text[i][1 - i % 2] = ""
        return b.done([b.headed(), *b.rows()])
    chan = {"de": "Kanal", "fr": "Voie", "es": "Canal", "it": "Canale", "nl": "Kanaal"}.get(b.locale, "Channel")
    lines = [b.row(("Timestamp", chan, f"Value [{b.unit}]"))]
    lines += [b.row((b.iso(i), b.names[i % 2], r[i % 2])) for i, r in enumerate(b.text)]
    return b.done(lines, facts={"channel_column": chan})


def key_value(b: Bench) -> Export:
    """A microcontroller prints names with each value: t=0.5 L=1.2mV, or L:1.2,R:3.4."""
    b.dec, b.end, b.coding = ".", "\r\n", "utf-8"
    b.write(b.unit)
    eq, gap = b.pick("=", ":", ": "), b.pick(" ", ", ", ";")
    tail = b.unit if b.rng.random() < 0.5 else ""
    b.write(b.unit, digits=int(b.rng.choice([1, 4])) if b.unit == "mV" else 4)
    key = "{n}" if tail else "{n}_" + b.unit
    lines = [gap.join((f"t{'' if tail else '_s'}{eq}{b.t[i]:.1f}{'s' * bool(tail)}", *[key.format(n=n) + eq + c + tail for n, c in zip(b.names, r, strict=True)])) for i, r in enumerate(b.text)]
    return b.done(lines, asks="may", start=None, facts={"time_unit": "s"})


def json_lines(b: Bench) -> Export:
    """One object in braces a line."""
    b.coding, b.dec = "utf-8", "."
    b.write(b.unit)
    lines = ["{" + ", ".join((f'"time": "{b.iso(i, "T")}"', *[f'"{n.lower()}_{b.unit}": {c}' for n, c in zip(b.names, r, strict=True)])) + "}" for i, r in enumerate(b.text)]
    return b.done(lines, asks="may")


def fixed_width(b: Bench) -> Export:
    """Columns of fixed width, set left or right; blank where nothing was read."""
    b.dec, b.sep, b.coding = ".", " ", "utf-8"
    b.write(b.unit, digits=int(b.rng.choice([1, 4])) if b.unit == "mV" else 4)
    wide = 14
    set_ = str.ljust if b.rng.random() < 0.4 else str.rjust
    for i, k in np.argwhere(b.rng.random(b.volts.shape) < 0.02):
        b.text[i][k], b.volts[i, k] = b.pick("", "NaN", "---"), np.nan
    head = set_("t [s]", wide) + "".join(set_(f"{n} [{b.unit}]", wide + 6) for n in b.names)
    lines = [head, *[set_(f"{b.t[i]:.1f}", wide) + "".join(set_(c, wide + 6) for c in r) for i, r in enumerate(b.text)]]
    return b.done(lines, start=None, asks="may" if any("" in r for r in b.text) else "no", dashes=True)


def query_table(b: Bench) -> Export:
    """A database prints bars, rules of plus and dash, NULL, and the number of rows below."""
    b.sep, b.coding = "|", "utf-8"
    for i, k in np.argwhere(b.rng.random(b.volts.shape) < 0.02):
        b.text[i][k], b.volts[i, k] = b.pick("NULL", "(null)"), np.nan
    heads = ["ts", *[f"{n.lower()}_{b.unit.lower()}" for n in b.names]]
    cells = [[b.iso(i), *r] for i, r in enumerate(b.text)]
    wide = [max(len(r[j]) for r in [heads, *cells]) for j in range(len(heads))]
    rule = "+" + "+".join("-" * (w + 2) for w in wide) + "+"
    line = lambda r: "| " + " | ".join(c.ljust(w) for c, w in zip(r, wide, strict=True)) + " |"  # noqa: E731
    return b.done([rule, line(heads), rule, *map(line, cells), rule, f"({len(cells)} rows)"], asks="may", facts={"missing_words": ("NULL", "(null)")})


def swapped_order(b: Bench) -> Export:
    """The second file of a run: right before left, and numbered backwards."""
    b.names = list(b.pick("Left|Right", "CH1|CH2", "A|B", "Kanal 1|Kanal 2").split("|"))[::-1]
    b.volts = np.hstack([b.volts, -0.5 * b.volts[::-1]])[:, :2]
    b.write(b.unit)
    return b.done([b.headed(), *b.rows()])


def units_in_words(b: Bench) -> Export:
    """The unit as a word or with the kind of voltage: millivolts, Millivolt, mVolt, mVDC, V DC, mV=."""
    of = {"mV": ("millivolts", "Millivolt", "mVolt", "mVDC", "mV DC", "mV=", "mvolts"), "V": ("volts", "Volt", "VDC", "V DC", "V=", "Volts DC")}[b.unit]
    return b.done([b.headed(form=b.pick("{{n}} ({})", "{{n}} [{}]", "{{n}} {}", "{{n}}_{}").format(b.pick(*of))), *b.rows()], asks="may")


def range_above(b: Bench) -> Export:
    """A line above tells the range or the supply, in volts; nothing tells the unit of the readings, which are millivolts."""
    b.write("mV")
    line = b.pick("Range: 2 V", "Input range +/- 10 V", "Messbereich: 20 V", "Supply 12 V", "Full scale: 40 V", "Trigger level: 0.5 V")
    return b.done(["Bench log", line, "", b.headed(form="{n}"), *b.rows()], asks="yes")


def units_differ(b: Bench) -> Export:
    """One output in millivolts, the other in volts: in the header, in a row of units, or in lines above."""
    b.names = list(SIDES[b.locale])
    b.volts = np.hstack([b.volts, -0.5 * b.volts[::-1]])[:, :2]
    own = ("mV", "V") if b.rng.random() < 0.5 else ("V", "mV")
    for k, u in enumerate(own):
        b.volts[:, k] = np.round(b.volts[:, k] / SCALE[u], {"mV": 1, "V": 4}[u]) * SCALE[u]
    b.text = [[b.num(v / SCALE[u], {"mV": 1, "V": 4}[u]) for v, u in zip(r, own, strict=True)] for r in b.volts]
    kind = b.pick("header", "row", "above")
    heads = [f"{n} [{u}]" if kind == "header" else n for n, u in zip(b.names, own, strict=True)]
    above = [f"{n}: {u}" for n, u in zip(b.names, own, strict=True)] if kind == "above" else []
    below = [b.row(("", *own))] if kind == "row" else []
    return b.done([*above, b.row(("Timestamp", *heads)), *below, *b.rows()], asks="may" if kind == "above" else "no")


def reckoned(b: Bench) -> Export:
    """Columns that a sheet or script reckoned from the outputs, limits, and alternating voltage, beside the outputs."""
    outs = [f"{n} [{b.unit}]" for n in b.names]
    first = b.names[0]
    all_of = (f"{first} rolling mean [{b.unit}]", f"{first} smoothed [{b.unit}]", f"|{first}| [{b.unit}]", f"Limit [{b.unit}]", f"{first} AC rms [{b.unit}]", f"{first} peak [{b.unit}]",
              f"{first} filtered [{b.unit}]", f"Threshold [{b.unit}]", f"delta {first} [{b.unit}]", f"{first} median [{b.unit}]", f"{first} p95 [{b.unit}]", f"{first} range [{b.unit}]")  # fmt: skip
    more = [all_of[int(j)] for j in b.rng.choice(len(all_of), 2, replace=False)]
    d = {"mV": 2, "V": 5}[b.unit]
    lines = [b.row(("Timestamp", *outs, *more))]
    lines += [b.row((b.iso(i), *r, *[b.num(abs(float(b.volts[max(i - 3, 0) : i + 1, 0].mean())) / SCALE[b.unit], d)] * 2)) for i, r in enumerate(b.text)]
    return b.done(lines, asks="may", facts={"channels": outs})


def comma_everywhere(b: Bench) -> Export:
    """Decimal commas between commas, without quotes."""
    b.sep, b.dec = ",", ","
    b.write(b.unit, form=str)
    lines = [",".join(("Timestamp", *[f"{n} [{b.unit}]" for n in b.names])), *[",".join((b.at(i).strftime("%Y-%m-%d %H:%M:%S"), *r)) for i, r in enumerate(b.text)]]
    if b.step < 1:
        b.t = b.t * 2
        lines[1:] = [",".join((b.at(i).strftime("%Y-%m-%d %H:%M:%S"), *r)) for i, r in enumerate(b.text)]
        b.step = 1.0
    return b.done(lines, asks="may")


def small_steps(b: Bench) -> Export:
    """Scientific notation, or millivolts and microvolts with four digits and more behind the sign."""
    kind = b.pick("sci", "digits")
    if kind == "sci":
        b.volts = np.array([[float(f"{v:.4e}") for v in r] for r in b.volts])
        b.unit = "V"
        form = b.pick(".4e", "+.4E")
        b.text = [[f"{v:{form}}".replace(".", b.dec) for v in r] for r in b.volts]
    else:
        b.write("mV", digits=5)
    return b.done([b.headed(), *b.rows()])


def spread_beside(b: Bench) -> Export:
    """An output that rests at volts: its mean, least and largest, and a column of its scatter under one of many words."""
    b.volts = b.volts + 5.0
    b.write(b.unit)
    mean, (low, high) = b.pick("mean", "moyenne", "Mittelwert", "media", "gemiddelde"), LEAST[b.locale]
    word = b.pick("spread", "noise", "ripple", "sigma", "p-p", "quality", "Streuung", "Rauschen", "écart-type", "bruit", "étendue", "desviación", "scarto tipo", "rumore", "spreiding", "ruis")
    heads = [f"{w} {n} [{b.unit}]" for n in b.names for w in (mean, low, high, word)]
    lines = [b.row(("Timestamp", *heads))]
    for i, r in enumerate(b.text):
        x = b.volts[i] / SCALE[b.unit]
        s = float(abs(b.rng.normal(3e-3, 4e-4))) / SCALE[b.unit]
        lines.append(b.row((b.iso(i), *[y for k, c in enumerate(r) for y in (c, b.num(x[k] - 2 * s, 4), b.num(x[k] + 2 * s, 4), b.num(s, 4))])))
    return b.done(lines, asks="may", facts={"channels": [f"{mean} {n} [{b.unit}]" for n in b.names]})
