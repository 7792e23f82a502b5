"""`flicker look`: the reading plan, shown before it is believed; and `watch`, which settles on the same plan. Invented data."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from flicker import LogError
from flicker.cli import main
from flicker.logs.growing import GrowingLog
from flicker.logs.reading.look import look
from flicker.logs.reading.planning.columns import Found

ROWS = "".join(
    f"05.03.2026 23:59:{40 + k};12,{k % 10};mV;3,7\n" if k != 7 else "05.03.2026 23:59:47;2,500;V;3,7\n"
    for k in range(20)
)
TEXT = "Logger 5\nZeit;links;Einheit;Akku\n" + ROWS


def test_five_lines_say_how_a_log_is_read(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    path = tmp_path / "bench.csv"
    path.write_text(TEXT, encoding="utf-8")
    plan = look(path)
    assert (plan.separator, plan.decimal, plan.header, plan.rows, plan.missing) == (";", ",", True, 20, "")
    roles = {column.header: column.role for column in plan.columns}
    assert roles == {"Zeit": "time", "links": "output", "Einheit": "unit of each reading", "Akku": "battery, not read"}
    assert next(column.found for column in plan.columns if column.role == "output") is Found.UNIT_COLUMN
    assert [row.volts[0] for row in plan.shown] == pytest.approx([0.0120, 0.0121, 0.0122])
    assert main(["look", str(path)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines[:5]] == ["layout", "columns", "time", "missing", "rows"]
    assert "2026-03-05 23:59:40 to 2026-03-05 23:59:59, 20 rows" in lines[2]
    assert main(["look", str(path), "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document == json.loads(json.dumps(plan.to_dict()))
    assert document["time"]["first"] == "2026-03-05T23:59:40"


def test_what_is_missing_is_said_with_its_option(tmp_path: Path):
    path = tmp_path / "bench.csv"
    path.write_text("time,left\n" + "".join(f"{k}.5,48.{k % 10}\n" for k in range(20)), encoding="utf-8")
    plan = look(path)
    assert "--time-unit" in plan.missing
    assert [column.header for column in plan.columns] == ["time", "left"]
    assert "--unit" in look(path, time_unit="s").missing
    plan = look(path, time_unit="s", unit="mV")
    assert not plan.missing
    assert plan.shown[0].volts[0] == pytest.approx(0.048)
    path.write_text("It was a dark night.\n" * 20, encoding="utf-8")
    with pytest.raises(LogError, match="no log"):
        look(path)


def test_watch_settles_the_unit_at_its_start(tmp_path: Path):
    path = tmp_path / "bench.csv"
    path.write_text("time_s,left\n" + "".join(f"{k},48.{k % 10}\n" for k in range(40)), encoding="utf-8")
    with pytest.raises(LogError, match="--unit"):
        GrowingLog(path).poll()
    from flicker.logs.reading import wishes_of

    growing = GrowingLog(path, wishes_of(unit="mV"))
    assert growing.poll()[0].values[0][0] == pytest.approx(0.048)
    growing.close()
    path.write_text(TEXT, encoding="utf-8")
    growing = GrowingLog(path)
    assert growing.poll()[0].values[0].max() == pytest.approx(2.5)
    growing.close()


def test_watch_weaves_no_channels(tmp_path: Path):
    path = tmp_path / "bench.csv"
    rows = "".join(f"{k},{name},{v}\n" for k in range(20) for name, v in (("left", 12.5), ("right", -4.5)))
    path.write_text("time_s,Channel,Value_mV\n" + rows, encoding="utf-8")
    with pytest.raises(LogError, match="names the channel of each row"):
        GrowingLog(path).poll()


def test_one_column_that_is_asked_about_hides_nothing_else(tmp_path):
    """Times, the other output and its rows are shown while one column waits for its role. Invented."""
    path = tmp_path / "asked.csv"
    rows = "".join(f"03.03.2031;09:00:{k:02d};{4 + k % 3}.1;{9 + k % 2}.2\n" for k in range(40))
    path.write_text("Datum;Uhrzeit;Tieftöner [mV];left [mV]\n" + rows, encoding="utf-8")
    plan = look(path)
    assert "say what it is with roles" in plan.missing and plan.rows == 40
    assert [column.role for column in plan.columns] == ["time", "time", "to be told", "output"]
    assert plan.shown[0].volts == pytest.approx((0.0092,)) and plan.notes == ()
