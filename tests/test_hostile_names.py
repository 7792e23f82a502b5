"""Names that come from outside (HTML, quotes, a newline, a mark of direction, endless ones) on every page and terminal.

All data invented. The pages are opened in a real browser at three widths: nothing runs, nothing scrolls sideways.
"""

from __future__ import annotations

import datetime as dt
import io

import lab
import numpy as np
import pandas as pd
import pytest
from rich.cells import cell_len
from rich.console import Console

from flicker import Log, assess, compare_stages, judge_case, over_visits, plan_soak, read_case, read_log
from flicker.case.reading import quoted
from flicker.cli import main
from flicker.evidence.among_like import COLUMNS
from flicker.present.report import write_report
from flicker.present.report.ledger import write_ledger_page
from flicker.present.terminal import show_assessment
from flicker.present.terminal.comparison import show_comparison
from flicker.present.terminal.soak import show_soak
from flicker.present.terminal.visits import show_visits

TURN = "\u202e"  # turns what follows it from right to left
NAMES = (
    f"left <img src=x onerror=document.title='run'>&\"'{TURN}gnirts",
    "CH1: l\u00e4nks \U0001f600\n[0] \u53f3\u306e\u51fa\u529b \u0645\u0643\u0628\u0631",
    "right " + "L" * 154,
)
UNIT = "U" * 120
STAGES = (f"as <b>received</b> {TURN}", "S" * 120)
WIDTHS = (1280, 390, 768)
OPENED = (1280, 390)  # the narrow page is turned to the width between, as a tablet is


def log(seed: int) -> Log:
    rng = np.random.default_rng(seed)
    time_s = np.arange(6000) * 0.5
    values = {name: 0.003 + 4e-4 * rng.standard_normal(time_s.size) + 0.05 * np.exp(-time_s / 8) for name in NAMES}
    for at in range(500, 5900, 600):
        values[NAMES[0]][at : at + 3] += 0.2
        values[NAMES[2]][at + 200 : at + 203] -= 0.1
    return Log.from_arrays(time_s, values, name=f"<b>{TURN}{'F' * 90}\"{seed}")


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    logs = [log(1), log(2)]
    first, last = (assess([item]) for item in logs)
    stages = compare_stages(dict(zip(STAGES, (first, last), strict=True)))
    visits = over_visits([(dt.date(2031, month, 4), [item]) for month, item in zip((3, 9), logs, strict=True)])
    folder = tmp_path_factory.mktemp("case")
    job = judge_case(read_case(case_of(folder, logs)))
    made = {"assess": first, "compare": stages, "visits": visits, "soak": plan_soak(logs=logs), "case": job}
    return made, logs, folder


def printable(name):
    """A case takes no name that cannot be read."""
    return "".join(c if c.isprintable() else " " for c in name)


def case_of(folder, logs):
    """A case of these logs whose every word is hostile."""
    text = f"unit = {quoted(NAMES[0] + UNIT)}\nserial = {quoted(NAMES[1])}\njob = {quoted('J' * 80)}\n"
    text += f"[complaint]\ntext = {quoted(NAMES[0])}\ntimes = 3\nper = 'evening'\n"
    for number, (stage, log) in enumerate(zip(STAGES, logs, strict=True)):
        file = f"{number}<b>{TURN}{'F' * 90}'.csv"
        log.to_frame().rename(columns=lambda name: name.replace("\n", " ")).to_csv(folder / file, index=False)
        text += f"[[logs]]\nfile = {quoted(file)}\nstage = {quoted(stage)}\nreading = {{ unit = 'V' }}\n"
    for name, column in zip(NAMES, read_log(folder / file, unit="V").channels, strict=True):
        text += f"[channels.{quoted(printable(name))}]\ncolumn = {quoted(column)}\n"
    text += f"[[parts]]\nwhat = {quoted(NAMES[0] + 'P' * 90)}\nstage = {quoted(STAGES[1])}\n"
    (folder / "case.toml").write_text(text, encoding="utf-8")
    return folder / "case.toml"


@pytest.mark.parametrize("width", [60, 80, 120])
def test_no_line_of_a_terminal_is_too_wide_and_no_name_is_cut(results, width):
    made, _, _ = results
    out = io.StringIO()
    console = Console(file=out, width=width, highlight=False, color_system=None)
    show_assessment(made["assess"], console)
    show_comparison(made["compare"].whole, console)
    show_visits(made["visits"], console)
    show_soak(made["soak"], console)
    lines = out.getvalue().split("\n")
    assert max(map(cell_len, lines)) <= width and "…" not in out.getvalue()
    said = "".join(out.getvalue().split())
    assert all("".join(name.split()) in said for name in (*NAMES, *STAGES))


@pytest.mark.skipif(bool(lab.missing()), reason=lab.missing() or "all there")
def test_no_page_runs_them_or_scrolls_sideways(results, tmp_path, driver):
    made, logs, _ = results
    pages = {
        kind: write_report(result, tmp_path / f"{kind}.html", logs=logs[:1] if kind == "assess" else logs)
        for kind, result in made.items()
    }
    row = {name: NAMES[k % 3] for k, (name, kind) in enumerate(COLUMNS.items()) if kind == "string"}
    ledger = pd.DataFrame([dict.fromkeys(COLUMNS) | row | {"observed_h": 4.0, "episodes": 0} | {"error": error} for error in (None, NAMES[0])])
    pages["ledger"] = write_ledger_page(ledger, tmp_path / "ledger.html")
    for kind, page in pages.items():
        assert TURN not in page.read_text(encoding="utf-8")
        for width in WIDTHS:
            size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
            driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
            if width in OPENED:
                driver.get(page.as_uri())
            lab.until(lambda: driver.execute_script("return document.documentElement.dataset.ready"), kind)
            wide, images, title = driver.execute_script(
                "return [document.documentElement.scrollWidth, document.querySelectorAll('img[src=x]').length, document.title]"
            )
            assert (wide <= width, images, title == "run") == (True, 0, False), (kind, width, wide)
            assert driver.get_log("browser") == []


def test_the_lines_of_a_survey_are_one_for_each_log(results, tmp_path, capsys, judged_here):
    *_, folder = results
    assert main(["survey", str(folder), "--out", str(tmp_path / "table.csv")]) == 0
    said = capsys.readouterr().out
    assert "2 logs" in said and TURN not in said
    told = pd.read_csv(tmp_path / "table.csv")
    assert set(told["channel"]) == set(read_log(next(folder.glob("*.csv"))).channels) and told["error"].isna().all()
