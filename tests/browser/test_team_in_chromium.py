"""A foreman's day in a real browser: the board by pointer and keys, people, settings, the books."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("browser")]

ROOT = Path(__file__).resolve().parents[2]
AXE = ROOT / "node_modules" / "axe-core" / "axe.min.js"
BUILT = ROOT / "src" / "crossfall_app" / "static" / "built"
PAGES = (
    "/ledger/", "/ledger/work/?sum=month", "/ledger/open/", "/ledger/day/?day=2026-06-05",
    "/ledger/events/", "/ledger/kept/", "/settings/", "/settings/figures/",
    "/settings/figures/?q=windrow", "/people/", "/account/", "/changes/",
)  # fmt: skip
PLAIN_BYTES, MAP_BYTES = 150_000, 650_000


@pytest.mark.parametrize(
    "visit",
    [(1440, "light"), (1024, "dark"), (390, "dark")],
    indirect=True,
    ids=["office", "tablet", "phone"],
)
def test_every_page_of_the_team_fits_and_is_accessible(visit):
    assert AXE.is_file(), "axe-core is missing; run: python hatch_build.py --check"
    for address in PAGES:
        visit.go(address)
        wide = visit.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= visit.page.viewport_size["width"], f"{address} is {wide} px wide"
        assert _serious(visit.page) == [], address


def test_scripts_are_small_and_only_where_they_are_used(visit):
    """As they travel, squeezed: little without a map, and no map where there is none."""
    for address in ("/", "/plan/", "/cards/", "/moisture/", "/ledger/work/", "/settings/"):
        visit.go(address)
        assert _script_bytes(visit.page) <= PLAIN_BYTES, address
    visit.page.goto(visit.office.url + "/roads/")
    visit.page.wait_for_selector("#map[data-state=ready]")
    worker = next(BUILT.glob("map-worker-*.mjs.gz")).stat().st_size
    assert PLAIN_BYTES < _script_bytes(visit.page) + worker <= MAP_BYTES


def test_work_is_moved_by_the_keyboard_and_taken_back(visit):
    visit.go("/plan/")
    page = visit.page
    chip = page.locator("td[data-machine] .chip[data-grip]").first
    stage = chip.get_attribute("data-stage")
    before = _place(page, stage)
    chip.locator(".grip").focus()
    page.keyboard.press("Enter")
    assert "Picked up" in page.inner_text("#board-voice")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowDown")
    assert "Grader" in page.inner_text("#board-voice")
    page.keyboard.press("Enter")
    page.wait_for_selector(".trial-bar", timeout=60_000)
    assert _serious(page) == []
    assert re.search(r"costs|brings", page.inner_text(".trial-bar p"))
    assert _place(page, stage) != before
    page.get_by_role("button", name="Undo the last step").click()
    page.wait_for_selector(".trial-bar", state="detached")
    assert _place(page, stage) == before


def test_escape_leaves_work_where_it_was(visit):
    visit.go("/plan/")
    page = visit.page
    chip = page.locator("td[data-machine] .chip[data-grip]").first
    chip.locator(".grip").focus()
    page.keyboard.press(" ")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Escape")
    assert "Left where it was" in page.inner_text("#board-voice")
    assert page.locator(".is-aim, .trial-bar").count() == 0


def test_work_is_dragged_kept_and_brought_back(visit):
    visit.go("/plan/")
    page = visit.page
    chip = page.locator("td[data-machine] .chip[data-grip]").first
    stage, before = chip.get_attribute("data-stage"), _place(page, None, chip)
    target = page.locator(f"td[data-machine='{before[0]}']:not(.idle)").nth(2)
    grip = chip.locator(".grip")
    grip.scroll_into_view_if_needed()
    start, end = grip.bounding_box(), target.bounding_box()
    page.mouse.move(start["x"] + 9, start["y"] + 9)
    page.mouse.down()
    page.mouse.move(end["x"] + 40, start["y"] + 20, steps=6)
    assert page.locator(".chip-ghost").count() == 1
    page.mouse.up()
    page.wait_for_selector(".trial-bar", timeout=60_000)
    assert page.locator(".chip-ghost").count() == 0
    page.fill(".trial-bar input[name=because]", "the bridge is closed")
    page.get_by_role("button", name="Keep this plan").click()
    page.wait_for_selector(".plan-note")
    assert "the bridge is closed" in page.inner_text(".plan-note")
    page.get_by_role("button", name="Bring the plan before back").click()
    page.get_by_text("The plan before is back").first.wait_for(state="attached")
    assert _place(page, stage) == before


def test_an_invited_foreman_comes_in_and_approves_in_their_own_name(visit, chromium):
    visit.go("/people/")
    page = visit.page
    page.fill("form[action$='invite/'] input[name=name]", "Ada Moe")
    page.fill("form[action$='invite/'] input[name=username]", "ada")
    page.check("input[value=foreman]")
    page.get_by_role("button", name="Make the invitation").click()
    link = page.input_value(".link-text")
    context = chromium.new_context()
    other = context.new_page()
    other.goto(link)
    for field in ("password", "again"):
        other.fill(f"input[name={field}]", "three quiet graders")
    other.get_by_role("button", name="Keep it and open the office").click()
    other.wait_for_url(visit.office.url + "/")
    assert other.goto(visit.office.url + "/people/").status == 403
    other.goto(visit.office.url + "/cards/")
    assert "Issued in the name of Ada Moe" in other.inner_text("#many")
    context.close()


def test_the_crews_word_takes_one_touch(visit):
    visit.go("/")
    page = visit.page
    row = page.locator("#crew li").first
    row.get_by_role("button", name="Wet day").click()
    page.wait_for_load_state("load")
    row = page.locator("#crew li").first
    assert "Wet-day work" in row.inner_text()
    assert row.locator("[aria-pressed=true]").inner_text().startswith("Wet day")
    row.get_by_role("button", name=re.compile("^Go")).click()
    page.wait_for_load_state("load")
    assert "Wet-day work" not in page.locator("#crew li").first.inner_text()


def _place(page, stage: str | None, chip=None) -> tuple[str, str] | None:
    found = chip if chip is not None else page.locator(f".chip[data-stage='{stage}']")
    if found.count() == 0:
        return None
    cell = found.locator("xpath=ancestor::td")
    return cell.get_attribute("data-machine"), cell.get_attribute("data-iso")


def _script_bytes(page) -> int:
    return page.evaluate(
        "performance.getEntriesByType('resource').filter(each => /\\.m?js/.test(each.name))"
        ".reduce((sum, each) => sum + each.encodedBodySize, 0)"
    )


def _serious(page) -> list[str]:
    page.evaluate(AXE.read_text(encoding="utf-8"))
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{each['id']}: {each['nodes'][0]['html'][:120]}"
        for each in found["violations"]
        if each["impact"] in {"serious", "critical"}
    ]
