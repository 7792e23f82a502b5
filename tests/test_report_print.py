"""The page of a job on paper: the owner's part is one sheet, on A4 and on Letter, and nothing is cut. All data invented."""

from __future__ import annotations

import base64
import re
import shutil
import subprocess

import lab
import numpy as np
import pytest

from flicker import judge_case, read_case
from flicker.present.report import write_report

PDFTOTEXT = shutil.which("pdftotext")
needs_paper = pytest.mark.skipif(
    bool(lab.missing()) or PDFTOTEXT is None,
    reason=lab.missing() or "no pdftotext (Debian: poppler-utils)",
)
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}  # millimetres, ISO 216 and ANSI/ASME Y14.1


def sized(page, folder, paper):
    """The page, to be printed on that paper."""
    out = folder / f"{page.stem} {paper}.html"
    if not out.exists():
        style = f"@media print {{ @page {{ size: {paper} }} }}</style>"
        out.write_text(page.read_text(encoding="utf-8").replace("</style>", style, 1), encoding="utf-8")
    return out


def opened(page, driver):
    """Open a page, unless it is the one in front, and wait for its charts."""
    if driver.current_url != page.as_uri():
        driver.get(page.as_uri())
    lab.until(lambda: driver.execute_script("return document.documentElement.dataset.ready"), "no charts")


def printed(page, folder, paper, driver):
    """Text of each printed sheet, the size of the first in points, and the sheets as PDF."""
    opened(sized(page, folder, paper), driver)
    drawn = driver.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True})
    out = folder / f"{page.stem} {paper}.pdf"
    out.write_bytes(base64.b64decode(drawn["data"]))
    text = subprocess.run([str(PDFTOTEXT), "-layout", str(out), "-"], capture_output=True, text=True, check=True).stdout
    boxes = subprocess.run(["pdfinfo", str(out)], capture_output=True, text=True, check=True).stdout
    size = re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", boxes)
    return text.split("\f")[:-1], (float(size[1]), float(size[2])), out


def filled(pdf):
    """How far down each sheet its words reach, as a share of its height (charts carry words at their foot)."""
    told = subprocess.run([str(PDFTOTEXT), "-bbox", str(pdf), "-"], capture_output=True, text=True, check=True).stdout
    sheets = told.split("<page ")[1:]
    return [
        max(map(float, re.findall(r'yMax="([\d.]+)"', sheet)), default=0.0) / float(re.search(r'height="([\d.]+)"', sheet)[1])
        for sheet in sheets
    ]


@pytest.fixture(scope="module")
def crowded(tmp_path_factory):
    """The fullest job a bench sends out: three channels, ten pieces of work, little recorded."""
    folder = tmp_path_factory.mktemp("crowded")
    rng = np.random.default_rng(4)
    text = 'unit = "Quillmoor X-300 integrated amplifier, second series, with the phono board"\n[complaint]\n'
    text += 'text = "thumps from the left speaker several times an evening, and the right one hums when it is cold"\n'
    text += 'times = "several times"\n'
    for name in ("left", "right", "centre"):
        text += f"[channels.{name}]\n"
    for number, stage in enumerate(("as received", "reseated only", "part replaced", "soak")):
        n = 2400
        values = 0.002 + 4e-4 * rng.standard_normal((3, n))
        for at in range(200, n, 150 if number < 2 else 10**6):
            values[0, at : at + 2] += 0.2
        rows = np.column_stack((np.arange(n), *values))
        name = f"x300_{number}_{stage.replace(' ', '_')}.csv"
        np.savetxt(folder / name, rows, delimiter=",", header="time_s,left_V,right_V,centre_V", comments="", fmt="%.4f")
        text += f'[[logs]]\nfile = "{name}"\nstage = "{stage}"\n'
    for number in range(10):
        text += f'[[parts]]\nwhat = "left channel: connector {number} reseated, solder joints of the driver board renewed"\n'
        text += f'stage = "{"reseated only" if number < 5 else "part replaced"}"\ndate = 2031-03-0{number % 9 + 1}\n'
    (folder / "case.toml").write_text(text)
    return write_report(judge_case(read_case(folder / "case.toml")), folder / "page.html")


@needs_paper
@pytest.mark.parametrize("paper", PAPERS)
def test_the_owners_part_is_one_sheet(crowded, paper, tmp_path, driver):
    sheets, size, _ = printed(crowded, tmp_path, paper, driver)
    assert size == pytest.approx([side / 25.4 * 72.0 for side in PAPERS[paper]], abs=1.5)
    first = " ".join(sheets[0].split())
    for words in (
        "Quillmoor X-300",
        "loudspeaker",
        "left",
        "centre",
        "What was done",
        "What was not tested",
        "Signature",
    ):
        assert words in first, words
    assert not any("Signature" in sheet for sheet in sheets[1:])
    assert "Channel by channel" in sheets[1] and "Channel by channel" not in first
    said = [" ".join(sheet.split()) for sheet in sheets]
    assert all(len(sheet) > 60 for sheet in said), "a sheet is all but empty"
    heading = re.compile(
        r"(Evidence of the last stage|Findings of the last stage|Method|Stage by stage|Words|Cautions|Channel \w+)\W*$"
    )
    assert not [sheet[-60:] for sheet in said if heading.search(sheet)], "a heading stands alone at the foot of a sheet"
