"""Words that loggers put in headers and headings, in six languages: what each column may be. Words only, no rules.

Accents are left away, here and in the headers looked at: máx is max. The lists are common practice, no source: English,
German, French, Spanish, Italian and Dutch words of data loggers.
"""

from __future__ import annotations

import re
import unicodedata

TIME = frozenset({
    "time", "times", "timestamp", "timestamps", "stamp", "datetime", "date", "clock", "elapsed", "t", "uptime",
    "seconds", "second", "sec", "secs", "s", "ms", "millis", "minutes", "hours", "epoch", "unix", "utc", "julian",
    "zeit", "datum", "uhrzeit", "zeitstempel", "zeitpunkt", "laufzeit", "messzeit", "temps", "heure", "horodatage",
    "tijd", "tijdstip", "hora", "fecha", "tiempo", "tempo", "ora", "data", "orario", "marca", "ticks", "tick",
    "timems", "moment", "jd", "mjd", "filetime", "sekunden", "sekunde", "minuten", "stunden", "secondes", "segundos",
    "secondi", "abscissa", "x",
})  # fmt: skip
PARTS = {  # of a moment, each in a column of its own
    "year": ("year", "yyyy", "jahr", "annee", "ano", "anno", "jaar"),
    "month": ("month", "mon", "monat", "mois", "mes", "mese", "maand"),
    "day": ("day", "tag", "jour", "dia", "giorno", "dag"),
    "ordinal day": ("doy", "dayofyear", "day of year", "day_of_year", "yday", "julian day"),
    "hour": ("hour", "hours", "hh", "stunde", "heure", "hora", "ora", "uur"),
    "minute": ("minute", "minutes", "min", "mm", "minuto"),
    "second": ("second", "seconds", "sec", "ss", "sekunde", "seconde", "segundo", "secondo"),
}
COUNTERS = frozenset({
    "index", "idx", "sample", "samples", "no", "nr", "number", "num", "n", "record", "records", "rec", "scan", "scans",
    "count", "counter", "seq", "sequence", "id", "row", "line", "lfd", "nummer", "punkt", "point", "points", "messung",
    "echantillon", "muestra", "campione", "numero", "entry", "item", "#", "unnamed", "zeile", "ligne",
    "frame", "packet", "messpunkt", "i", "k",
})  # fmt: skip
READING = frozenset({
    "reading", "readings", "value", "values", "messwert", "messwerte", "wert", "mesure", "valeur", "valor", "valore",
    "lettura", "medida", "waarde", "meting", "measurement", "measured", "voltage", "volts", "spannung", "tension",
    "tensione", "spanning", "voltaje", "u", "dc", "offset", "display", "anzeige",
})  # fmt: skip
OUTPUT = frozenset({
    "left", "right", "l", "r", "ch", "chan", "channel", "kanal", "canal", "canale", "kanaal", "voie", "out", "output",
    "outputs", "ausgang", "sortie", "salida", "uscita", "uitgang", "amp", "amplifier", "speaker", "lautsprecher",
    "links", "rechts", "gauche", "droite", "izquierda", "derecha", "izquierdo", "derecho", "sinistra", "destra",
    "sinistro", "destro", "lf", "rf", "lr", "rr", "front", "rear", "center", "centre", "sub", "surround", "main",
    "offset", "dc", "zone", "woofer", "tweeter", "headphone", "a", "b", "c", "d", "input", "eingang", "ai", "ain",
    "u", "v", "probe", "meter", "dmm", "bridge", "terminal", "klemme",
})  # fmt: skip
WARM = frozenset({
    "temperature", "temperatures", "temp", "tempc", "tempf", "temperatur", "temperatuur", "temperatura", "ambient",
    "room", "raum", "zimmer", "raumtemperatur", "umgebung", "heatsink", "sink", "kuhlkorper", "dissipateur",
    "celsius", "fahrenheit", "kelvin", "thermo", "thermocouple", "ntc", "pt100", "ambiente", "ambiant", "ambiante",
    "degc", "inside", "outside", "case",
})  # fmt: skip
WARM_SURE = WARM - {"room", "raum", "zimmer", "sink", "inside", "outside", "case", "heatsink", "umgebung", "thermo"}
RAIL = frozenset({"rail", "rails", "vcc", "vdd", "vee", "vss", "psu", "supply", "versorgung", "alimentation"})
MAINS = frozenset({"mains", "netz", "netzspannung", "netspanning", "secteur", "line-voltage"})
BATTERY = frozenset({
    "battery", "batt", "bat", "vbat", "vbatt", "akku", "batterie", "batterij", "bateria", "batteria",
    "pile", "accu", "batteriespannung", "akkuspannung", "cell",
})  # fmt: skip
STATISTICS = frozenset({
    "min", "max", "avg", "mean", "average", "minimum", "maximum", "mittel", "mittelwert", "moyenne", "moy", "media",
    "promedio", "gemiddelde", "std", "stdev", "stddev", "sd", "sigma", "rms", "peak", "pk", "pp", "vpp", "p2p",
    "minimo", "maximo", "massimo", "gem", "durchschnitt", "variance", "median", "spitze",
    "mini", "maxi", "minima", "maxima", "lowest", "highest", "moyen", "medio", "mediana", "minimaal", "maximaal",
})  # fmt: skip
AVERAGES = frozenset({
    "avg", "mean", "average", "mittel", "mittelwert", "moyenne", "moy", "media", "promedio", "gemiddelde", "gem",
    "durchschnitt", "median", "moyen", "medio", "mediana",
})  # fmt: skip
SPREADS = frozenset({"std", "stdev", "stddev", "sd", "sigma", "rms", "pp", "vpp", "p2p", "variance"})
EXTREMES = STATISTICS - AVERAGES - SPREADS
EITHER_WAY = frozenset({"peak", "pk", "spitze"})  # the largest of both signs
SIGN = frozenset({"sign", "polarity", "vorzeichen", "polaritat", "signe", "signo", "segno", "teken", "pol"})
RANGE = frozenset({"range", "ranges", "bereich", "messbereich", "gamme", "calibre", "rango", "portata", "bereik"})
LIMIT = frozenset({
    "limit", "limits", "threshold", "setpoint", "grenzwert", "grenze", "schwelle", "sollwert", "limite", "seuil", "consigne", "umbral",
    "soglia", "grens", "drempel",
})  # fmt: skip
MODE = frozenset({
    "mode", "function", "funktion", "fonction", "funcion", "funzione", "functie", "coupling", "kopplung", "acdc",
    "modus", "messart", "measure",
})  # fmt: skip
DEVICE = frozenset({
    "device", "devices", "dut", "instrument", "gerat", "appareil", "dispositivo", "apparaat", "amplifier", "equipment", "address",
    "adresse", "unit", "board", "serial", "station", "node",
})  # fmt: skip
STATE = frozenset({
    "status", "state", "flag", "flags", "alarm", "ok", "quality", "error", "errors", "valid", "relay", "relais",
    "trigger", "zustand", "statut", "estado", "stato", "hold", "comment", "comments", "remark", "bemerkung", "text",
    "mark", "marks", "marker", "markers", "note", "notes", "event", "events", "overload", "limit", "pass", "judge",
    "serial", "device", "logger", "firmware", "operator", "user", "site", "checksum", "crc", "gain", "divisor",
})  # fmt: skip
ELSE = frozenset({
    "humidity", "rh", "feuchte", "humidite", "humedad", "umidita", "pressure", "druck", "freq", "frequency",
    "frequenz", "current", "strom", "courant", "corriente", "power", "leistung", "puissance", "lux", "light", "co2",
    "rssi", "signal", "memory", "load", "resistance", "widerstand", "impedance", "thd", "level", "volume", "fan",
    "rpm", "wind", "altitude", "latitude", "longitude", "noise", "interval", "dt", "delta", "increment", "start",
    "phase", "duty", "energy",
})  # fmt: skip
FACTOR = frozenset({
    "scale", "scaling", "factor", "multiplier", "gain", "attenuation", "attenuator", "probe", "divider", "divisor", "ratio",
    "faktor", "skalierung", "verstarkung", "dampfung", "teiler", "teilerverhaltnis", "tastkopf", "tastteiler", "multiplikator",
    "facteur", "echelle", "attenuateur", "sonde", "diviseur", "rapport", "escala", "ganancia", "atenuacion", "sonda",
    "multiplicador", "divisore", "scala", "fattore", "guadagno", "attenuazione", "moltiplicatore", "schaal", "versterking",
    "verzwakking", "deler", "vermenigvuldiger", "slope", "mult",
})  # fmt: skip
ZERO = frozenset({
    "zero", "offset", "nullpunkt", "nullabgleich", "tare", "decalage", "desplazamiento", "scostamento", "nulpunt", "correction",
    "korrektur", "adj", "adjustment",
})  # fmt: skip
NO_FACTOR = frozenset({  # words beside those that make another thing of it
    "full", "range", "temperature", "time", "display", "plot", "axis", "chart", "vertical", "horizontal", "limit", "threshold",
    "serial", "no", "nr", "number", "id", "count", "channels", "date", "utc", "gmt", "timezone", "hours", "version",
})  # fmt: skip
COUNTS = frozenset({"adc", "counts", "lsb", "raw", "code", "codes", "rawadc", "adccounts", "bits", "digits"})
UNIT = frozenset({
    "unit", "units", "einheit", "einheiten", "unite", "unites", "unidad", "unidades",
    "unita", "eenheid", "eenheden", "uom", "dimension",
})  # fmt: skip
CHANNEL = frozenset({
    "channel", "channels", "chan", "ch", "kanal", "canal", "canale", "kanaal", "voie", "input", "eingang", "name",
    "sensor", "signal", "probe", "tag", "variable", "quantity", "series", "source", "port", "measurand", "parameter",
    "messstelle", "output", "terminal", "line", "side", "param", "label",
})  # fmt: skip
SUMMARY = frozenset({
    "average", "avg", "mean", "min", "max", "minimum", "maximum", "sum", "total", "count", "std", "stdev", "stddev",
    "median", "end", "eof", "summary", "statistics", "result", "results", "mittelwert", "mittel", "summe", "anzahl",
    "ende", "standardabweichung", "moyenne", "somme", "fin", "ecart", "total:", "promedio", "media",
    "suma", "fine", "somma", "gemiddelde", "som", "einde", "samples", "records", "rms", "range", "peak", "duration",
    "stopped", "stop", "finished", "complete", "completed", "durchschnitt", "maximal", "minimal", "readings", "deviation",
    "aantal", "nombre", "totale", "durata", "dauer", "exported", "checksum", "variance", "moy", "minimo",
    "maximo", "massimo", "gesamt", "n",
})  # fmt: skip
STEPS = frozenset({"dt", "delta", "step", "increment", "interval", "schritt", "intervall", "pas", "paso", "passo", "stap"})
INTERVAL = frozenset({
    "interval", "rate", "period", "sampling", "cadence", "frequency", "abtastrate", "abtastintervall", "intervall",
    "messintervall", "aufzeichnungsintervall", "taktrate", "cadencia", "intervalle", "intervalo", "intervallo",
    "echantillonnage", "muestreo", "campionamento", "frecuencia", "frequence", "frequenz",
    "interval:", "every", "logging", "samplerate", "sampleinterval", "dt", "increment", "step", "takt", "delta",
    "meetinterval", "bemonstering", "abtastung",
})  # fmt: skip


def plain(text: str) -> str:
    """A text without accents."""
    if text.isascii():
        return text
    return "".join(sign for sign in unicodedata.normalize("NFD", text) if not unicodedata.combining(sign))


def words_of(header: str) -> list[str]:
    """Split a header into its words, in lower case and in order: at signs, digits and small letters before capitals."""
    text = re.sub(r"(?<=[a-z\u00e0-\u00ff])(?=[A-Z])", " ", plain(header.replace("\ufeff", "")))
    return re.findall(r"[^\W\d_]+", text.lower())
