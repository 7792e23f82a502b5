"""Pages in a real browser (that every chart is drawn: `test_report.py`): episodes stepped through by button, key and table row. All data invented."""

from __future__ import annotations

import json

import lab
import pages
import pytest

pytestmark = pytest.mark.skipif(bool(lab.missing()), reason=lab.missing() or "all there")

# The stretch that the brush of a strip shows, as its own axis tells it: first and last tick of the close-up.
BRUSH = "return document.querySelector(arguments[0] + ' .where').textContent"


@pytest.fixture(scope="module")
def drawn(tmp_path_factory):
    return {kind: pages.page(tmp_path_factory, f"a45 {kind}") for kind in ("assessment", "case")}


def opened(driver, page, *, anew=False):
    """Open a page, unless it is the one in front, and wait for its charts."""
    if anew or driver.current_url != page.as_uri():
        driver.get(page.as_uri())
    lab.until(lambda: driver.execute_script("return document.documentElement.dataset.ready"), "charts were not drawn")


def close_up(driver, strip):
    """Labels of the time axis of the lower strip."""
    return driver.execute_script(
        "const all = [...document.querySelectorAll('#' + arguments[0] + ' .role-axis-label')].map(g => g.textContent);"
        "return all.slice(Math.floor(all.length / 2)).join(' | ');",
        strip,
    )


def test_every_episode_is_reached_by_button_and_key_and_row(drawn, driver):
    opened(driver, drawn["assessment"])
    strip = driver.find_element("css selector", "figure[data-episodes]")
    places = json.loads(strip.get_attribute("data-episodes"))
    assert len(places) == pages.received()[1].channel("left").rate.episodes
    seen = [close_up(driver, strip.get_attribute("id"))]
    following = strip.find_elements("css selector", ".steps button")[1]
    for number in range(3):
        following.click()
        lab.until(
            lambda before=seen[-1]: close_up(driver, strip.get_attribute("id")) != before, "the strip did not move"
        )
        seen.append(close_up(driver, strip.get_attribute("id")))
        assert strip.find_element("css selector", ".where").text == f"episode {number + 1} of {len(places)}"
    driver.find_element("css selector", "body").send_keys("p")
    lab.until(lambda: "episode 2 of" in strip.find_element("css selector", ".where").text, "the key p did nothing")
    rows = driver.find_elements("css selector", "tr[data-strip] button")
    assert len(rows) >= 10
    driver.execute_script("arguments[0].click()", rows[9])
    told = driver.execute_script("return arguments[0].closest('tr').dataset.number", rows[9])
    lab.until(
        lambda: strip.find_element("css selector", ".where").text.startswith(f"episode {int(told) + 1} of"),
        "the row did not move the strip",
    )


def test_quiet_channels_are_folded_and_may_be_opened(drawn, driver):
    opened(driver, drawn["case"])
    folds = driver.find_elements("css selector", "details[data-quiet]")
    assert folds and not any(fold.get_attribute("open") for fold in folds)
    folds[0].find_element("css selector", "summary").click()
    assert folds[0].find_element("css selector", ".live svg").is_displayed()


@pytest.mark.parametrize(("width", "kept"), [(1280, "fixed"), (390, "sticky")])
def test_the_contents_stay_in_sight(drawn, driver, width, kept):
    size = {"width": width, "height": 800, "deviceScaleFactor": 1, "mobile": False}
    driver.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    opened(driver, drawn["case"], anew=kept == "sticky")
    place = "const b = document.querySelector('nav.contents').getBoundingClientRect(); return [b.top, b.left, b.right, b.bottom]"
    driver.execute_script("window.scrollTo(0, 4000)")
    top, left, right, bottom = driver.execute_script(place)
    assert 0 <= top < 60 and left >= 0 and right <= width and bottom <= 800
    style = "return getComputedStyle(document.querySelector('nav.contents')).position"
    assert driver.execute_script(style) == kept
    fold = driver.find_element("css selector", "nav.contents details")
    assert bool(fold.get_attribute("open")) == (kept == "fixed")
    if kept == "fixed":  # a column of its own, not over the page
        assert right <= driver.execute_script("return document.querySelector('main h1').getBoundingClientRect().left")
    else:  # opens over the page, and closes when a chapter is chosen
        fold.find_element("css selector", "summary").click()
        fold.find_elements("css selector", "a")[1].click()
        assert not fold.get_attribute("open")
