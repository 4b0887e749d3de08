"""An inspection as a person makes it: on a phone and at a desk, with photos, with slips."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from pictures import jpeg, png

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("browser")]

ROOT = Path(__file__).resolve().parents[2]
AXE = ROOT / "node_modules" / "axe-core" / "axe.min.js"
SCORES = {"crown": 3, "drainage": 4, "gravel": 3, "deformation": 2, "defects": 4}
ROAD, OTHER = "OV0003", "OV0005"


@pytest.mark.parametrize(
    "visit", [(1440, "light"), (390, "dark"), (390, "light")], indirect=True,
    ids=lambda each: f"{each[0]}-{each[1]}",
)  # fmt: skip
def test_the_pages_fit_and_are_accessible(visit):
    for address in (f"/inspect/{ROAD}/", "/ledger/", f"/ledger/?road={ROAD}", f"/roads/{ROAD}/?"):
        visit.go(address)
        visit.page.evaluate(
            "document.querySelectorAll('details').forEach(each => each.open = true)"
        )
        _photograph(visit, address)
        wide = visit.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= visit.page.viewport_size["width"], f"{address} is {wide} px wide"
        assert _serious(visit.page) == [], address


@pytest.mark.parametrize("visit", [(390, "light")], indirect=True, ids=["phone"])
def test_a_windshield_look_takes_seven_touches(visit):
    visit.go(f"/roads/{ROAD}/?")
    page = visit.page
    page.get_by_role("link", name="Inspect it").click()
    for name, value in SCORES.items():
        page.locator(f"input[name={name}][value='{value}'] + span").click()
    with page.expect_navigation(url=f"**/roads/{ROAD}/"):
        page.get_by_role("button", name="Keep this inspection").click()
    assert "kept." in page.inner_text("[role=status]")
    page.locator(".ledger-list, details summary").first.wait_for()
    assert "8 Jun 2026" in page.inner_text("#part") or page.locator("text=8 Jun 2026").count()


def test_a_look_by_keyboard_alone_with_photos(visit, tmp_path):
    (tmp_path / "a.jpg").write_bytes(jpeg(exif=b"SECRET", orientation=6))
    (tmp_path / "b.png").write_bytes(png(width=40, height=30))
    visit.go(f"/inspect/{OTHER}/")
    page = visit.page
    for name, value in SCORES.items():
        page.focus(f"input[name={name}][value='5']")
        page.keyboard.press("Space")
        for _ in range(5 - value):
            page.keyboard.press("ArrowDown")
        assert page.locator(f"input[name={name}]:checked").get_attribute("value") == str(value)
    page.get_by_text("Measured", exact=True).click()
    page.get_by_label("Gravel thickness, in").fill("3")
    page.get_by_label("Crossfall, %").fill("2.5")
    page.set_input_files("input[type=file]", [tmp_path / "a.jpg", tmp_path / "b.png"])
    page.get_by_role("button", name="Keep this inspection").click()
    page.wait_for_selector("text=with 2 photos")
    page.evaluate("document.querySelectorAll('details').forEach(each => each.open = true)")
    pictures = page.locator(".photos img")
    assert pictures.count() == 2
    for each in pictures.all():
        each.scroll_into_view_if_needed()
        page.wait_for_function(
            "img => img.complete && img.naturalWidth > 0", arg=each.element_handle()
        )
    _photograph(visit, "/road-with-photos")
    assert _serious(page) == []
    assert page.locator(".over-time").count() <= 1


def test_a_slip_is_said_beside_its_field_and_nothing_typed_is_lost(visit, tmp_path):
    (tmp_path / "note.jpg").write_bytes(b"%PDF-1.7 not a picture")
    visit.go(f"/inspect/{ROAD}/")
    page = visit.page
    for name, value in SCORES.items():
        page.locator(f"input[name={name}][value='{value}'] + span").click()
    page.get_by_text("Only a part of it, or one side", exact=True).click()
    page.get_by_label("From, ft").fill("900")
    page.get_by_label("To, ft").fill("300")
    page.set_input_files("input[type=file]", [tmp_path / "note.jpg"])
    # The browser notes every answer of 4xx in its console, and this one is meant
    page.get_by_role("button", name="Keep this inspection").click()
    page.wait_for_selector("text=Nothing is kept yet")
    assert "exchange them" in page.inner_text("form.inspect")
    assert "note.jpg is not a picture" in page.inner_text("form.inspect")
    assert page.input_value("input[name=from_m]") == "900"
    assert page.locator("input[name=deformation]:checked").get_attribute("value") == "2"
    _photograph(visit, "/inspect-slip")
    assert _serious(page) == []
    visit.complaints[:] = [each for each in visit.complaints if "422" not in each]


def test_a_danger_from_report_to_repair(visit):
    visit.go(f"/roads/{ROAD}/?")
    page = visit.page
    page.get_by_role("link", name="Report a danger").click()
    page.locator("select[name=kind]").select_option("sign_missing")
    page.get_by_label("What it looks like").fill("the sign lies in the ditch")
    page.get_by_role("button", name="Put it into the register").click()
    page.wait_for_selector("text=is in the register")
    row = page.locator(".ledger-list > li", has_text="the sign lies in the ditch")
    row.get_by_role("button", name="It is barricaded").click()
    page.wait_for_selector(
        ".ledger-list > li:has-text('the sign lies in the ditch'):has-text('Barricaded')"
    )
    visit.go("/")
    assert "the sign lies in the ditch" in page.inner_text(".alarm")
    visit.go("/ledger/")
    row = page.locator(".ledger-list > li", has_text="the sign lies in the ditch")
    row.get_by_role("button", name="It is repaired").click()
    page.wait_for_load_state()
    visit.go("/")
    assert page.locator(".alarm", has_text="the sign lies in the ditch").count() == 0


def _serious(page) -> list[str]:
    page.evaluate(AXE.read_text(encoding="utf-8") + ";undefined")
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{each['id']}: {json.dumps([node['target'] for node in each['nodes']])[:400]}"
        for each in found["violations"]
        if each["impact"] in {"serious", "critical"}
    ]


def _photograph(visit, address: str) -> None:
    folder = os.environ.get("CROSSFALL_PICTURES")
    if not folder:
        return
    Path(folder).mkdir(parents=True, exist_ok=True)
    name = address.strip("/").replace("/", "-").replace("?", "-") or "morning"
    size = visit.page.viewport_size
    visit.page.screenshot(path=Path(folder) / f"{name}-{size['width']}.png", full_page=True)
