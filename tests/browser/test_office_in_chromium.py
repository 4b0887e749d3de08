"""The pages as a person meets them: in a real browser, at three widths, light and dark."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path

import pytest

# One worker serves one demo for all of these
pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("browser")]

ROOT = Path(__file__).resolve().parents[2]
AXE = ROOT / "node_modules" / "axe-core" / "axe.min.js"
PAGES = (
    "/", "/roads/", "/moisture/", "/moisture/?q=osier+creek", "/moisture/OV0010/", "/plan/",
    "/cards/", "/cards/1/",
)  # fmt: skip
WINDOWS = [(1440, "light"), (1024, "dark"), (390, "light")]
"""Each width and each scheme: colours and layout do not depend on each other."""


def test_link_does_not_let_a_second_person_in(office, chromium):
    context = chromium.new_context()
    page = context.new_page()
    assert page.goto(office.link).status == 410
    page.goto(office.url + "/plan/")
    assert "/door/" in page.url
    context.close()


def test_map_shows_every_road(visit):
    visit.page.goto(visit.office.url + "/roads/")
    visit.page.wait_for_selector("#map[data-state=ready]")
    n_roads = int(visit.page.get_attribute("#map", "data-roads"))
    assert n_roads == visit.page.locator("#road-list > li").count()
    assert 550 <= n_roads <= 650


@pytest.mark.parametrize("visit", WINDOWS, indirect=True, ids=lambda each: f"{each[0]}-{each[1]}")
def test_every_page_fits_and_is_accessible(visit):
    """No sideways scrolling of the page, no serious or critical axe finding, no console error."""
    assert AXE.is_file(), "axe-core is missing; run: python hatch_build.py --check"
    size = visit.page.viewport_size
    for address in PAGES:
        visit.go(address)
        _photograph(visit, address)
        wide = visit.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= size["width"], f"{address} is {wide} px wide"
        # Light colours are checked at full width; contrast is what takes axe longest
        is_phone = size["width"] < 600
        assert _serious(visit.page, skip="color-contrast" if is_phone else "") == [], address


@pytest.mark.parametrize(
    "visit", [(1440, "light"), (390, "dark")], indirect=True, ids=["office", "phone"]
)
def test_one_road_and_one_day_are_accessible(visit):
    visit.go("/roads/")
    visit.page.locator("#road-list a").first.click()
    visit.page.wait_for_selector("#road-panel h1")
    _photograph(visit, "/panel")
    assert _serious(visit.page) == []
    href = visit.page.locator("#road-list a").first.get_attribute("href")
    visit.go(href + "?")
    _photograph(visit, "/road")
    assert _serious(visit.page) == []
    visit.go("/plan/")
    visit.page.locator("a[data-dialog]").first.click()
    visit.page.wait_for_selector("#dialog[open] h1")
    _photograph(visit, "/dialog")
    assert _serious(visit.page) == []


def test_roads_with_the_keyboard_alone(visit):
    visit.go("/roads/")
    page = visit.page
    page.focus("#find")
    page.keyboard.type("creek")
    shown = page.locator("#road-list > li:not([hidden])")
    assert 0 < shown.count() < 600
    assert "of 600" in page.inner_text("#found") or "stretches" in page.inner_text("#found")
    page.keyboard.press("ArrowDown")
    first = page.evaluate("document.activeElement.closest('li').dataset.id")
    page.keyboard.press("ArrowDown")
    second = page.evaluate("document.activeElement.closest('li').dataset.id")
    assert first != second
    page.keyboard.press("Enter")
    page.wait_for_selector("#road-panel h1")
    assert "Creek" in page.inner_text("#road-panel h1")
    page.keyboard.press("Escape")
    assert page.evaluate("document.activeElement.closest('li').dataset.id") == second


def test_map_click_opens_the_road(visit):
    visit.go("/roads/")
    page = visit.page
    box = page.locator("#map canvas").bounding_box()
    # Somewhere along a line across the middle there is a road
    for step in range(40):
        page.mouse.click(
            box["x"] + box["width"] * (0.3 + 0.01 * step), box["y"] + box["height"] / 2
        )
        if page.locator("#road-panel h1").count():
            break
    page.wait_for_selector("#road-panel h1")
    assert page.inner_text("#road-panel h1")


def test_colourings_and_legends_go_together(visit):
    visit.go("/roads/")
    page = visit.page
    for radio in page.locator("input[name=theme]").all():
        key = radio.get_attribute("value")
        radio.check(force=True)
        page.wait_for_function(
            "key => !document.querySelector(`[data-legend=${key}]`).hidden", arg=key
        )
        assert page.locator("[data-legend]:not([hidden])").count() == 1
        assert page.locator(f"[data-legend={key}] li").count() >= 1
        _photograph(visit, f"/roads-{key}")


def test_a_road_opens_beside_the_strip_and_closes_with_the_keyboard(visit):
    visit.go("/moisture/?by=drainage&zone=poor")
    page = visit.page
    roads = page.locator("#strip a[data-road]")
    assert roads.count() > 20
    roads.first.focus()
    page.keyboard.press("ArrowDown")
    page.keyboard.press("ArrowDown")
    third = roads.nth(2).get_attribute("href")
    assert page.evaluate("document.activeElement.getAttribute('href')") == third
    page.keyboard.press("Enter")
    page.wait_for_selector("#panel .chart-narrow .moisture-chart")
    assert page.evaluate("document.activeElement.id") == "panel"
    assert roads.nth(2).get_attribute("aria-current") == "true"
    assert page.locator("#panel .moisture-chart:visible").count() == 1
    _photograph(visit, "/moisture-panel")
    assert _serious(page) == []
    page.keyboard.press("Escape")
    assert page.locator("#panel").is_hidden()
    assert page.evaluate("document.activeElement.getAttribute('href')") == third


def test_the_strip_regroups_at_once_and_finds_a_road(visit):
    visit.go("/moisture/")
    page = visit.page
    with page.expect_navigation(url="**/moisture/?by=route*"):
        page.check("input[name=by][value=route]", force=True)
    assert page.locator("#strip tbody").count() > 30
    page.fill("#find", "osier creek")
    page.keyboard.press("Enter")
    page.wait_for_selector("#strip a[data-road]")
    names = page.locator("#strip a[data-road]").all_inner_texts()
    assert names
    assert all("Osier Creek Road" in each for each in names)


@pytest.mark.parametrize("visit", [(390, "dark")], indirect=True, ids=["phone"])
def test_a_look_typed_on_a_phone_resets_the_road(visit):
    visit.go("/moisture/OV0020/")
    page = visit.page
    assert page.locator(".moisture-chart:visible").count() == 1
    page.get_by_role("radio", name="Too wet").check()
    with page.expect_navigation(url="**/moisture/OV0020/?told=*"):
        page.get_by_role("button", name="Keep it").click()
    said = page.inner_text(".change")
    assert "Now: " in said
    assert "Too wet" in said
    assert re.search(r"\d+ stretches hear it", said)
    assert page.inner_text("#today-title").strip() == "Too wet today"
    _photograph(visit, "/moisture-told")


def test_the_chart_prints_without_forms(visit):
    visit.go("/moisture/OV0010/")
    page = visit.page
    page.emulate_media(media="print")
    assert page.locator(".entry").is_hidden()
    assert page.locator(".moisture-chart:visible").count() == 1
    assert page.locator("details table").is_visible(), "the figures are printed below the chart"


def test_tables_are_taken_away(visit):
    for address in ("/moisture.csv", "/moisture/OV0010.csv"):
        answer = visit.page.request.get(visit.office.url + address)
        assert answer.headers["content-type"].startswith("text/csv")
        assert answer.text().count("\n") > 40


def test_skip_link_is_the_first_stop(visit):
    visit.go("/")
    visit.page.keyboard.press("Tab")
    assert visit.page.evaluate("document.activeElement.className") == "skip"
    visit.page.keyboard.press("Enter")
    assert visit.page.evaluate("document.activeElement.id") == "sheet"


def test_board_and_a_machines_day(visit):
    visit.go("/plan/")
    page = visit.page
    assert page.locator(".board tbody:not(.support) > tr").count() == 5, "five graders"
    assert page.locator(".board thead th").count() == 6, "a machine's name and five days"
    first = page.locator("a.day-link").first
    first.click()
    page.wait_for_selector("#dialog[open] table")
    assert re.search(r"pass(es)? \d", page.inner_text("#dialog"))
    page.keyboard.press("Escape")
    assert page.locator("#dialog[open]").count() == 0
    assert first.evaluate("each => each === document.activeElement")


def test_cards_come_as_paper(visit):
    visit.go("/cards/")
    answer = visit.page.request.get(visit.office.url + "/cards/1.pdf")
    assert answer.status == 200
    assert answer.body().startswith(b"%PDF-")


def test_planning_is_followed_and_stopped(visit):
    visit.go("/")
    page = visit.page
    page.select_option("#days", "2")
    page.get_by_role("button", name="Plan the week").click()
    page.wait_for_selector("#run progress")
    page.wait_for_function(
        "() => document.querySelector('#run progress').value > 0", timeout=60_000
    )
    assert page.inner_text(".run-message")
    _photograph(visit, "/run")
    page.get_by_role("button", name="Stop planning").click()
    page.wait_for_selector("text=Planning was stopped", timeout=15_000)
    assert page.get_by_role("button", name="Plan the week").is_visible()


def test_scripts_are_small_where_there_is_no_map(visit):
    """At most 150 kB of script, gzipped, without a map and 650 kB with one."""
    assert _script_bytes(visit, "/") <= 150_000
    assert _script_bytes(visit, "/plan/") <= 150_000
    assert _script_bytes(visit, "/moisture/OV0010/") == 0, "a chart needs no script"
    assert _script_bytes(visit, "/roads/") <= 650_000


def test_scripts_are_sent_squeezed(visit):
    squeezed = []
    visit.page.on(
        "response",
        lambda each: (
            squeezed.append(each.headers.get("content-encoding"))
            if re.search(r"/roads-\w+\.js$", each.url)
            else None
        ),
    )
    visit.go("/roads/")
    assert squeezed == ["gzip"]


def _script_bytes(visit, address: str) -> int:
    import gzip

    total: list[int] = []

    def weigh(response) -> None:
        if re.search(r"\.m?js(\?|$)", response.url):
            total.append(len(gzip.compress(response.body())))

    visit.page.on("response", weigh)
    visit.go(address)
    visit.page.remove_listener("response", weigh)
    return sum(total)


def _serious(page, *, skip: str = "") -> list[str]:
    page.evaluate(AXE.read_text(encoding="utf-8") + ";undefined")
    found = page.evaluate(
        "skip => axe.run(document, {resultTypes: ['violations'],"
        " rules: skip ? {[skip]: {enabled: false}} : {}})",
        skip,
    )
    return [
        f"{each['id']}: {json.dumps([node['target'] for node in each['nodes']])[:400]}"
        for each in found["violations"]
        if each["impact"] in {"serious", "critical"}
    ]


def _scheme(page) -> str:
    return page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches ? 'dark' : 'light'")


def _photograph(visit, address: str) -> None:
    """Keep a picture where CROSSFALL_PICTURES names a folder, to be looked at by a person."""
    folder = os.environ.get("CROSSFALL_PICTURES")
    if not folder:
        return
    Path(folder).mkdir(parents=True, exist_ok=True)
    name = address.strip("/").replace("/", "-") or "morning"
    size = visit.page.viewport_size
    scheme = _scheme(visit.page)
    visit.page.screenshot(
        path=Path(folder) / f"{name}-{size['width']}-{scheme}.png", full_page=name != "plan"
    )
