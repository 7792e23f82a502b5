"""Names that are no text, terminals that know few signs, several hands at once, files changed by hand. Invented data."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import zipfile
from io import BytesIO
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from command import flicker

from flicker import read_log
from flicker.cli import main
from flicker.evidence.assessment import assess
from flicker.evidence.document.excursion_table import write_excursions
from flicker.logs.marks import append_mark
from flicker.signals.cache import BlockCache, CachedSource
from flicker.survey_table import find_logs, survey

RNG = np.random.default_rng(7)


def written(path: Path, size: int = 3000) -> Path:
    left = np.round(5 + 0.5 * RNG.standard_normal(size), 2)
    left[size // 2 : size // 2 + 4] = 400.0
    path.write_text("time_s,left_mV\n" + "".join(f"{0.5 * k},{v}\n" for k, v in enumerate(left)), encoding="utf-8")
    return path


def started(*arguments: str, **options) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "flicker", *arguments],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        **options,
    )


def test_marks_of_several_processes_at_once_are_all_kept(tmp_path: Path):
    path = written(tmp_path / "a.csv", 200)
    log = read_log(path)
    assert log.runs
    begin, ring = os.pipe()
    hands = []
    for k in range(20):
        hand = os.fork()
        if hand == 0:
            code = 1
            try:
                os.close(ring)
                os.read(begin, 1)  # until the bell: all begin at one time
                append_mark(path, log, f"tap {k}")
                code = 0
            finally:
                os._exit(code)
        hands.append(hand)
    os.close(ring)
    assert [os.waitpid(hand, 0)[1] for hand in hands] == [0] * 20
    os.close(begin)
    rows = (tmp_path / "a.marks.csv").read_text().splitlines()[1:]
    assert sorted(row.rsplit(",", 1)[1] for row in rows) == sorted(f"tap {k}" for k in range(20))


def test_a_name_that_is_no_text_costs_one_row(tmp_path: Path):
    written(tmp_path / "a.csv")
    try:
        os.rename(written(tmp_path / "b.csv"), os.fsencode(tmp_path) + b"/b\xff.csv")
    except OSError:
        pytest.skip("the file system takes no such name")
    table = survey(find_logs(tmp_path), workers=1)
    assert len(table) == 2
    assert table["error"].isna().all()
    table.to_parquet(tmp_path / "out.parquet")
    assert any("udcff" in name for name in table["source"])


def test_excursions_as_text_and_as_table_agree(tmp_path: Path):
    result = assess(read_log(written(tmp_path / "a.csv")))
    counts = [write_excursions(result, tmp_path / name) for name in ("x.csv", "x.parquet")]
    assert counts[0] == counts[1] > 0
    text, table = pd.read_csv(tmp_path / "x.csv"), pd.read_parquet(tmp_path / "x.parquet")
    pd.testing.assert_frame_equal(text, table, check_dtype=False)


def test_blocks_changed_by_hand_are_not_used(tmp_path: Path):
    path, cache = written(tmp_path / "a.csv"), BlockCache()
    assess(cache.read(path), cache=cache)
    place = cache.place(path)
    assert isinstance(cache.read(path).source, CachedSource)
    members = {}
    with zipfile.ZipFile(place) as kept:
        members = {name: kept.read(name) for name in kept.namelist()}
    name = "0.0.low.npy" if "0.0.low.npy" in members else next(n for n in members if n.startswith("0.0."))
    array = np.load(BytesIO(members[name]))
    array.flat[0] += 1
    out = BytesIO()
    np.save(out, array)
    with zipfile.ZipFile(place, "w") as kept:
        for member, data in members.items():
            kept.writestr(member, out.getvalue() if member == name else data)
    plain = assess(read_log(path)).channels[0]
    again = assess(cache.read(path), cache=cache).channels[0]
    assert (again.baseline, again.excursions) == (plain.baseline, plain.excursions)
    head = np.load(BytesIO(members["head.npy"]))
    edited = BytesIO()
    np.save(edited, np.array(str(head).replace('"left"', '"lift"')))
    with zipfile.ZipFile(place, "w") as kept:
        for member, data in members.items():
            kept.writestr(member, edited.getvalue() if member == "head.npy" else data)
    assert not isinstance(cache.read(path).source, CachedSource)


def test_the_page_prints_in_any_encoding(tmp_path: Path):
    path = written(tmp_path / "µ.csv")
    environment = {**os.environ, "PYTHONIOENCODING": "ascii"}
    page = subprocess.run([sys.executable, "-m", "flicker", "assess", str(path)], capture_output=True, env=environment)
    assert page.returncode == 0, page.stderr
    assert b"left" in page.stdout
    for encoding in ("ascii", "cp1252", "utf-8"):
        whole = flicker("look", path, "--json", encoding=encoding)
        assert (whole.returncode, json.loads(whole.stdout)["file"]) == (0, "µ.csv")


@pytest.mark.parametrize("wait_s", [0.3, 1.5])
def test_stopping_by_hand_leaves_one_line(wait_s: float, tmp_path: Path):
    written(tmp_path / "a.csv", 400_000)
    program = started("survey", str(tmp_path), "--out", str(tmp_path / "out.csv"))
    time.sleep(wait_s)
    os.killpg(program.pid, signal.SIGINT)
    _, said = program.communicate(timeout=120)
    assert b"Traceback" not in said
    if program.returncode:
        assert program.returncode == 130
        assert said.decode().strip() == "flicker: stopped."


def test_a_case_opens_logs_of_its_own_folder_only(tmp_path: Path):
    from flicker.case.case_file import CaseError, read_case

    outside = written(tmp_path / "a.csv", 200)
    folder = tmp_path / "case"
    folder.mkdir()
    case = folder / "case.toml"
    written(folder / "b.csv", 200)
    (folder / "link.csv").symlink_to(outside)
    for file in ("../a.csv", "link.csv", str(outside)):
        case.write_text(f'[[logs]]\nfile = "{file}"\n')
        with pytest.raises(CaseError, match=r"outside the folder of the case.*--anywhere"):
            read_case(case)
        assert len(read_case(case, anywhere=True).logs) == 1
    case.write_text('[[logs]]\nfile = "b.csv"\n')
    assert len(read_case(case).logs) == 1
    os.mkfifo(folder / "pipe.csv")
    case.write_text('[[logs]]\nfile = "pipe.csv"\n')
    with pytest.raises(CaseError, match="does not exist"):
        read_case(case, anywhere=True)


def _hour(folder: Path, name: str, seconds: range, last_mV: float | None = None) -> str:
    rows = [f"2026-03-05 {10 + k // 3600}:{k // 60 % 60:02d}:{k % 60:02d},{12 + 0.1 * (k % 7):.1f}\n" for k in seconds]
    if last_mV is not None:
        rows[-1] = rows[-1].rpartition(",")[0] + f",{last_mV}\n"
    (folder / name).write_text("time,left_mV\n" + "".join(rows), encoding="utf-8")
    return str(folder / name)


@pytest.mark.parametrize(("last_mV", "fitness"), [(None, None), (40000.0, "do not connect")])
def test_the_last_of_hourly_files_may_be_short_and_what_it_shows_counts(last_mV: float | None, fitness: str | None, tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    """Two samples at the end of a night of hourly files neither stop the reading nor hide 40 V (issue 21)."""
    hours = [_hour(tmp_path, f"h{k}.csv", range(3600 * k, 3600 * (k + 1))) for k in range(4)]
    assert main(["assess", *hours, "--json"]) == 0
    without = json.loads(capsys.readouterr().out)
    short = _hour(tmp_path, "h4.csv", range(14400, 14402), last_mV)
    nothing = _hour(tmp_path, "h5.csv", range(0))
    assert main(["assess", *hours, short, nothing, "--json"]) == 0
    told = capsys.readouterr()
    judged = json.loads(told.out)
    assert judged["channels"][0]["fitness"] == (fitness or without["channels"][0]["fitness"])
    assert judged["channels"][0]["observed_s"] == pytest.approx(without["channels"][0]["observed_s"] + 2, abs=5)
    assert any("Only 2 samples" in note for run in judged["runs"] for note in run["notes"])
    assert "left out: h5.csv holds a header and no readings" in told.err
    assert main(["assess", short, "--json"]) == 2
    assert "too few" in capsys.readouterr().err
