"""Columns that are no outputs: roles, marks in a column, differences. All logs are invented."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from command import flicker

from flicker import LogError, assess, read_log
from flicker.logs.marks import Mark
from flicker.logs.marks_column import joined, marks_in_column

FORMS = ("csv", "csv.gz", "parquet", "feather")


def bench(seconds=1800, *, seed=1, **columns):
    """Two sound outputs at a sample a second, and what else the logger wrote."""
    rng = np.random.default_rng(seed)
    time = np.arange(float(seconds))
    sides = {name: np.round(5.0 + 0.4 * rng.normal(size=time.size), 3) for name in ("left_mV", "right_mV")}
    return pd.DataFrame({"time_s": time, **sides, **columns})


def written(folder, table, form="csv", name="bench"):
    path = folder / f"{name}.{form}"
    if form == "parquet":
        table.to_parquet(path)
    elif form == "feather":
        table.to_feather(path)
    else:
        table.to_csv(path, index=False)
    return path


def words(size, **rows):
    cells = np.full(size, "", dtype=object)
    for place, word in rows.items():
        cells[int(place[1:])] = word
    return cells


def run(*arguments):
    made = flicker(*arguments)
    return made.returncode, made.stderr


# ---------------------------------------------------------------- marks in a column


@pytest.mark.parametrize("form", FORMS)
def test_a_column_of_words_is_read_as_marks_while_streaming(tmp_path, form):
    cells = words(1800, r1500="stimulus: tap, hard", r1600="touched", r1601="touched", r1700="lunch, back soon")
    log = read_log(written(tmp_path, bench(event=cells), form))
    assert log.channels == ("left", "right")
    assert marks_in_column(log) == (
        Mark(1500.0, "stimulus", None, None, "tap, hard"),
        Mark(1600.0, "touched", None, 1601.0, ""),
        Mark(1700.0, "note", None, None, "lunch, back soon"),
    )
    assert any('"event" was read as marks' in note for note in log.runs[0].notes)


def test_marks_of_the_column_follow_a_clock_that_was_mended(tmp_path):
    # local clock times with the hour of the end of daylight saving: the rows after it are moved by an hour
    stamps = pd.date_range("2031-10-26 02:30:00", periods=1800, freq="s")
    back = stamps.where(np.arange(1800) < 900, stamps - pd.Timedelta(hours=1))
    table = bench(mark=words(1800, r1200="adjusted"))
    table["time_s"] = back.strftime("%Y-%m-%d %H:%M:%S")
    log = read_log(written(tmp_path, table.rename(columns={"time_s": "time"})))
    assert marks_in_column(log)[0].time_s == pytest.approx(1200.0, abs=1.0)


def test_a_column_may_be_named_and_one_named_otherwise_is_left_alone(tmp_path):
    table = bench(hand=words(1800, r9="touched"), note=words(1800, r5="all is well"))
    path = written(tmp_path, table)
    assert marks_in_column(read_log(path)) == (Mark(5.0, "note", text="all is well"),)
    assert marks_in_column(read_log(path, marks_column="hand")) == (Mark(9.0, "touched"),)
    with pytest.raises(LogError, match='no column "hands"'):
        read_log(path, marks_column="hands")
    with pytest.raises(LogError, match="holds numbers, not marks"):
        read_log(path, marks_column="left_mV")


def test_a_column_that_changes_all_the_time_holds_no_marks(tmp_path):
    path = written(tmp_path, bench(30_000, event=np.array([f"reading {k}" for k in range(30_000)], dtype=object)))
    log = read_log(path)
    assert marks_in_column(log) == ()
    assert any("it holds no marks" in note for note in log.runs[0].notes)
    with pytest.raises(LogError, match="it holds no marks"):
        read_log(path, marks_column="event")


def test_marks_beside_and_in_a_column_are_joined(tmp_path):
    path = written(tmp_path, bench(mark=words(1800, r900="touched")))
    (tmp_path / "bench.marks.csv").write_text("time,kind,channel,until,text\n300,touched,left,320,\n")
    gaps = assess(path).channels[0].gaps
    assert [(gap["start_s"], gap["end_s"]) for gap in gaps if "touched" in gap["reason"]] == [(300, 320), (900, 910)]
    with pytest.raises(LogError, match="overlaps"):
        joined((Mark(5.0, "touched", None, 20.0),), (Mark(10.0, "touched", None, 12.0),))


BAD_COLUMN = {
    "tapped": "row 901 of the column of marks: 'tapped' is not a kind of mark",
    "ajusted: bias": "did you mean 'adjusted'",
    "condition change": "did you mean 'conditions changed'",
}
BAD_FILE = {
    "9,tapped,,,": "'tapped' is not a kind of mark",
    "9000,note,,,": "lies outside the log",
    "10,touched,,30,\n20,touched,,40,": "overlaps",
    "10,note,middle,,": "'middle' is not a channel",
}


@pytest.mark.parametrize(("cell", "sentence"), BAD_COLUMN.items())
def test_a_bad_mark_in_a_column_is_one_sentence_and_code_2(tmp_path, cell, sentence):
    code, told = run("assess", written(tmp_path, bench(mark=words(1800, r900=cell))))
    assert code == 2
    assert sentence in told
    assert told.count("\n") == 1
    assert told.startswith("flicker assess: bench.csv, row 901")


@pytest.mark.parametrize(("rows", "sentence"), BAD_FILE.items())
def test_a_bad_mark_beside_the_log_is_one_sentence_and_code_2(tmp_path, rows, sentence):
    path = written(tmp_path, bench())
    (tmp_path / "bench.marks.csv").write_text(f"time,kind,channel,until,text\n{rows}\n")
    code, told = run("assess", path)
    assert code == 2
    assert sentence in told
    assert told.count("\n") == 1


# ---------------------------------------------------------------- roles


@pytest.mark.parametrize("form", FORMS)
def test_a_temperature_is_no_channel_and_is_not_dropped_in_silence(tmp_path, form):
    warm = np.round(21.0 + np.arange(1800) / 900.0, 2)
    log = read_log(written(tmp_path, bench(temp_C=warm), form))
    assert log.channels == ("left", "right")
    (found,) = log.companions
    assert (found.name, found.role) == ("temp", "temperature")
    np.testing.assert_allclose(log.beside(found).to_frame()["temp"][:900], warm[:900])
    assert any('"temp_C" was read as a temperature' in note for note in log.runs[0].notes)


@pytest.mark.parametrize(("header", "unit"), [("temperature", ""), ("Ambient (°C)", ""), ("T1 temp [degF]", "")])
def test_temperatures_are_known_by_their_header(tmp_path, header, unit):
    log = read_log(written(tmp_path, bench(**{header: np.full(1800, 21.5)})))
    assert [item.role for item in log.companions] == ["temperature"]


def test_a_voltage_called_temp_stays_a_voltage_and_is_asked_about(tmp_path):
    path = written(tmp_path, bench(temp_mV=np.full(1800, 21.5)))
    with pytest.raises(LogError, match='"temp_mV" is not called as an output is'):
        read_log(path)
    assert read_log(path, roles={"temp_mV": "output"}).channels == ("left", "right", "temp")


def test_roles_are_told_and_checked(tmp_path):
    path = written(tmp_path, bench(rail_V=np.full(1800, 40.02), spare_mV=np.zeros(1800), other_mV=np.ones(1800)))
    log = read_log(path, roles={"rail_V": "rail", "spare_mV": "shorted lead", "other": "ignore"})
    assert log.channels == ("left", "right")
    assert {item.name: item.role for item in log.companions} == {"rail": "rail", "spare": "shorted lead"}
    with pytest.raises(LogError, match="did you mean 'rail'"):
        read_log(path, roles={"rail_V": "rails"})
    with pytest.raises(LogError, match='no column "railing"'):
        read_log(path, roles={"railing": "rail"})
    outputs = {"spare_mV": "output", "other_mV": "output"}
    assert read_log(path, roles={"railing": "rail", **outputs}, may_lack=True).channels == (
        "left",
        "right",
        "spare",
        "other",
    )  # a rail is known by its name
    code, told = run("assess", path, "--role", "rail_V=rails")
    assert code == 2
    assert told.count("\n") == 1


def test_the_difference_of_two_columns(tmp_path):
    wander = 12.0 + np.sin(np.arange(1800) / 300.0)
    legs = {"plus_V": np.round(wander + 0.01 + 1e-4 * (np.arange(1800) % 2), 4), "minus_V": np.round(wander, 4)}
    path = written(tmp_path, bench(**legs))
    result = assess(read_log(path, differences={"bridge": ("plus_V", "minus")}))
    assert [item.channel for item in result.channels] == ["left", "right", "bridge"]
    assert result.channel("bridge").baseline.level_V == pytest.approx(0.010, abs=2e-4)
    assert any("neither may be connected to ground" in text for text in result.cautions)
    code, told = run("assess", path, "--difference", "bridge=plus")
    assert code == 2
    assert "NAME=COLUMN,COLUMN" in told
    with pytest.raises(LogError, match="no output 'middle'"):
        read_log(path, roles={"minus_V": "output"}, differences={"bridge": ("plus", "middle")})


# ---------------------------------------------------------------- what the companions say


def four_hours(kind="steady", seed=3, **options):
    """A simulated bench of 4 h and its readings, to which columns are added."""
    from flicker import simulate_log

    drawn = simulate_log(kind, seed=seed, **options)
    return pd.DataFrame({"time_s": drawn.time_s(), **{f"{name}_V": drawn.values(name) for name in drawn.channels}})


def hits(table, seed, count, size, samples=2):
    """A column that is at rest but for events in random rows, never closer than twenty seconds."""
    rng = np.random.default_rng(seed)
    column = np.zeros(len(table))
    for row in 1000 + 200 * rng.permutation((len(table) - 2000) // 200)[:count] + 40 * (seed % 5):
        column[row : row + samples] += size * rng.uniform(0.8, 1.3)
    return column


def lead_floor(table, seed=9):
    return np.round(2e-5 * np.random.default_rng(seed).normal(size=len(table)), 5)


def judged(folder, table, **roles):
    return assess(read_log(written(folder, table), roles=roles))


def test_a_quiet_shorted_lead_leaves_a_noisy_unit_noisy(tmp_path):
    table = four_hours("noisy")
    table["spare_V"] = lead_floor(table)
    result = judged(tmp_path, table, spare_V="shorted lead")
    left = result.channel("left")
    assert (left.verdict, left.control.answer, left.control.control_count) == ("noisy", "yes", 0)
    assert "The shorted lead saw none of its own in 4 h" in left.finding("intermittent").reads
    assert "live output was measured" in result.companions[0].reads


def test_what_the_shorted_lead_sees_too_is_not_the_unit(tmp_path):
    table = four_hours()
    both, lead_only, left_only = (hits(table, seed, n, 0.1) for seed, n in ((1, 12), (2, 6), (4, 5)))
    table["left_V"] += both + left_only
    table["spare_V"] = lead_floor(table) + both + lead_only
    result = judged(tmp_path, table, spare_V="shorted lead")
    told = result.channel("left").finding("intermittent")
    # exact: 5 of 11 with chance one half are 5 or more in 72.6 %; the twelve that both saw are on neither side
    assert told.answer == "not shown"
    assert told.p_value >= 0.72
    assert "replaces the assumed nuisance rate" in told.reads
    assert "12 more came with the shorted lead at once" in told.reads
    bare = assess(read_log(written(tmp_path, table, name="bare"), roles={"spare_V": "ignore"}))
    assert bare.channel("left").finding("intermittent").answer == "yes"


def test_a_shorted_lead_that_shows_nothing_but_zero_keeps_the_meters_digit(tmp_path):
    # on a meter of 1 mV all readings are 0 but for the events, whose common divisor is no last digit
    table = four_hours(rate_hz=1.0, resolution_V=0.001)
    table["spare_V"] = np.round(hits(table, 1, 12, 0.1), 3)
    (spare,) = judged(tmp_path, table, spare_V="shorted lead").companions
    assert spare.episodes == 12
    control = assess(
        read_log(tmp_path / "bench.csv", roles={"spare_V": "ignore"}),
        control=read_log(tmp_path / "bench.csv", channels=["spare"]),
    )
    assert control.channel("left").control.control_count == 12


def test_a_lead_that_came_off_reads_like_the_shorted_one(tmp_path):
    # at rest 6 mV from zero: within 5 mV and without a start a channel is not told from a dead lead or a wrong range
    table = four_hours(power_up=False, noise_V=0.00012, settled_V=0.006, resolution_V=0.00001)
    table["right_V"] = lead_floor(table, seed=5)
    table["spare_V"] = lead_floor(table)
    result = judged(tmp_path, table, spare_V="shorted lead")
    assert "right reads like it: nothing shows" in result.companions[0].reads
    assert result.channel("right").verdict == "inconclusive"
    assert "left stands above it" in result.companions[0].reads
    assert result.channel("left").verdict == "steady"


@pytest.mark.parametrize("role", ["rail", "mains"])
def test_an_output_that_jumps_with_the_supply(tmp_path, role):
    table = four_hours().drop(columns="right_V")
    dips = hits(table, 7, 8, 1.0, samples=4)
    table["supply_V"] = np.round(40.0 - 2.0 * dips + 0.005 * np.random.default_rng(8).normal(size=len(table)), 3)
    alone = table.copy()
    table["left_V"] += 0.15 * dips
    result = judged(tmp_path, table, supply_V=role)
    (pair,) = result.coincidence.pairs
    assert (pair.a, pair.b, pair.answer, pair.together) == ("left", "supply", "common cause", 8)
    assert any("8 of 8 episodes of left came with supply" in text for text in result.cautions)
    alone["left_V"] += 0.15 * hits(table, 18, 8, 1.0, samples=4)
    pair = judged(tmp_path, alone, supply_V=role).coincidence.pairs[0]
    assert pair.answer == "this channel only"


def warm(table, seed, per_degree=0.010):
    """Temperature of a room that comes and goes, and a level that follows it 20 minutes late."""
    from flicker.evidence.questions.warmth import Series, lagged

    rng = np.random.default_rng(seed)
    time = table["time_s"].to_numpy()
    degrees = 22.0 + 1.5 * np.sin(time / 5000.0 + seed) + np.cumsum(rng.normal(size=time.size)) * 0.002
    late = np.interp(time, *lagged(Series("room", 0, time, degrees), 1200.0))
    return np.round(degrees, 1), per_degree * (late - 22.0)


def test_movement_that_follows_the_temperature_is_the_rooms(tmp_path):
    table = four_hours(hours=12.0, rate_hz=1.0)
    table["temp_C"], moves = warm(table, 2)
    ramp = 0.030 * table["time_s"] / table["time_s"].iloc[-1]
    calm = table["right_V"].copy()
    table["left_V"] += moves
    table["right_V"] = calm + ramp
    result = assess(written(tmp_path, table))
    left, right = (result.channel(name).finding("drift") for name in ("left", "right"))
    # The temperature explains in words; as read the level moved by more than 20 mV, so it is neither 'no' nor cleared.
    assert left.answer == "not shown"
    assert "follows the temperature (temp; 10 mV per degree, some 20 min behind)" in left.reads
    assert right.answer == "yes"
    assert "temperature" not in right.reads
    assert result.channel("left").verdict == "drifting" and result.channel("left").fitness == "not yet shown"
    bare = assess(read_log(written(tmp_path, table, name="bare"), roles={"temp_C": "ignore"}))
    assert bare.channel("left").finding("drift").answer == "yes"


def test_chance_does_not_excuse_a_drift():
    # levels that wander by themselves, beside a temperature that has nothing to do with them: at most 5 % nominal
    from flicker.stats.levels.follows import following

    rng = np.random.default_rng(11)
    excused = 0
    for _ in range(60):
        degrees = np.cumsum(rng.normal(size=72))
        late = np.convolve(degrees, np.full(4, 0.25))[:72]
        excused += following(np.cumsum(rng.normal(size=72)), [degrees, late]).p_value <= 0.05
    assert excused <= 6  # more than 6 of 60 have a chance of 1 in 30 at 5 %
    assert following(late + 0.05 * rng.normal(size=72), [degrees, late]).p_value <= 0.05
    with pytest.raises(ValueError, match="12 or more"):
        following(np.arange(5.0), [np.arange(5.0)])


def test_a_case_says_what_the_columns_are(tmp_path):
    table = four_hours("noisy", hours=1.0)
    table["probe"] = 30.0 + np.arange(len(table)) / 7200.0
    table["spare_V"] = lead_floor(table)
    table["hand"] = words(len(table), r5000="touched")
    written(tmp_path, table)
    case = tmp_path / "job.toml"
    case.write_text(
        'marks_column = "hand"\n[channels.left]\ncolumn = "left_V"\n'
        '[channels.heatsink]\ncolumn = "probe"\nrole = "temperature"\n'
        '[channels.short]\ncolumn = "spare_V"\nrole = "shorted lead"\n'
        '[channels.rail]\ncolumn = "rail_V"\nrole = "rail"\n[[logs]]\nfile = "bench.csv"\n'
    )
    import jsonschema

    from flicker import read_case
    from flicker.present.schema import schema

    told = read_case(case)
    result = assess(told.read_logs(), case=told)
    assert [item.channel for item in result.channels] == ["left"]
    assert {item.name: item.role for item in result.companions} == {"heatsink": "temperature", "short": "shorted lead"}
    assert any("no column" in note and "rail_V" in note for note in result.runs[0].notes)
    assert any(gap["reason"] == "touched, by the marks" for gap in result.channels[0].gaps)
    jsonschema.Draft202012Validator(schema("flicker/assessment/2")).validate(result.to_dict())
