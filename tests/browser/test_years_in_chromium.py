"""The Years page in a real browser: money dragged and moved by keys, the map by year."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("browser")]

ROOT = Path(__file__).resolve().parents[2]
AXE = ROOT / "node_modules" / "axe-core" / "axe.min.js"
BUILT = ROOT / "src" / "crossfall_app" / "static" / "built"


@pytest.fixture(scope="module")
def studied(office) -> None:
    """The demo's years, worked out once at the keyboard."""
    subprocess.run(
        [sys.executable, "-m", "crossfall_app", "years", str(office.folder), "--years", "5"],
        check=True,
        stdout=subprocess.DEVNULL,
    )


def _serious(page) -> list[str]:
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run({resultTypes: ['violations']})")
    return [
        f"{each['id']}: {each['nodes'][0]['html'][:120]}"
        for each in found["violations"]
        if each["impact"] in {"serious", "critical"}
    ]


@pytest.mark.parametrize("visit", [(1440, "light"), (390, "dark")], indirect=True)
def test_the_line_of_money_moves_everything(visit, studied):
    """Dragged in the curve or moved by keys: words, table, charts, links and map follow.

    The visit ends with no complaint in the console, so nothing here breaks the content rules.
    """
    page = visit.page
    visit.go("/years/")
    page.wait_for_selector("#chart-worth svg")
    shown = page.locator("#money-out").inner_text()
    first = page.locator("#by-year tbody tr").first.inner_text()
    drawn = page.locator("#chart-gravel svg").inner_html()
    page.locator("#money").focus()
    for _ in range(3):
        page.keyboard.press("ArrowLeft")
    less = page.locator("#money-out").inner_text()
    assert less != shown
    assert page.locator("#money").get_attribute("aria-valuetext") == less
    assert less.removesuffix(" a year") in page.locator("#said p").first.inner_text()
    assert page.locator("#by-year tbody tr").first.inner_text() != first
    page.wait_for_function(
        "before => document.querySelector('#chart-gravel svg').innerHTML !== before", arg=drawn
    )
    share = json.loads(page.evaluate("document.querySelector('input[name=share]').value"))
    assert f"share={share}" in page.locator("a", has_text="This table as CSV").get_attribute("href")
    box = page.locator("#chart-curve").bounding_box()
    page.mouse.move(box["x"] + box["width"] * 0.3, box["y"] + box["height"] / 2)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] - 12, box["y"] + box["height"] / 2, steps=5)
    page.mouse.up()
    assert page.locator("#money").input_value() == page.locator("#money").get_attribute("max")
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]


def test_the_map_follows_the_year(visit, studied):
    visit.go("/years/")
    page = visit.page
    page.wait_for_selector("#years-map .y-due", state="attached")
    before = page.locator("#years-map .y-due").count()
    assert page.locator("#years-map .y-before").count() == 0
    page.locator("#year").focus()
    page.keyboard.press("End")
    assert page.locator("#years-map .y-before").count() >= before
    assert page.locator("#year-out").inner_text() == page.locator("#year").get_attribute("max")


@pytest.mark.parametrize("visit", [(1440, "light"), (1024, "dark"), (390, "light")], indirect=True)
def test_the_page_is_accessible(visit, studied):
    visit.go("/years/")
    visit.page.wait_for_selector("#chart-worth svg")
    assert _serious(visit.page) == []


def test_charts_are_loaded_where_they_are_and_stay_small(visit, studied):
    asked: list[str] = []
    visit.page.on("response", lambda answer: asked.append(answer.url))
    visit.go("/")
    morning = {url.rsplit("/", 1)[-1] for url in asked if url.endswith(".js")}
    asked.clear()
    visit.go("/years/")
    visit.page.wait_for_selector("#chart-worth svg")
    years = {url.rsplit("/", 1)[-1] for url in asked if url.endswith(".js")}
    sizes = {
        name: (BUILT / f"{name}.gz").stat().st_size
        for name in years
        if (BUILT / f"{name}.gz").is_file()
    }
    assert sum(sizes.values()) <= 500_000
    largest = max(sizes, key=lambda name: sizes[name])
    assert sizes[largest] > 100_000, "the charts' runtime"
    assert largest not in morning
