"""Cards and gravel as a person meets them: issued, withdrawn, tested, blended, on a phone too."""

from __future__ import annotations

from pathlib import Path

import pytest

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("browser")]

AXE = Path(__file__).resolve().parents[2] / "node_modules" / "axe-core" / "axe.min.js"
PAGES = (
    "/cards/?status=draft",
    "/gravel/?road=240th Street",
    "/contracts/",
    "/gravel/pits/pit-1/",
    "/gravel/pits/pit-2/?spec=Example state surface gravel",
    "/gravel/blend/",
    "/gravel/blend/?pile=test-1&pile=test-3&spec=Iowa 11",
    "/gravel/blend/?pile=test-2&spec=Iowa 11",
    "/gravel/pits/pit-1/?homes=1",
    "/gravel/edges/compare/?price_0=300&price_3=1800",
    "/permissions/",
    "/day-sheets/",
)


@pytest.mark.parametrize(
    "visit", [(1440, "light"), (390, "light"), (1024, "dark")], indirect=True,
    ids=["office", "phone", "dark"],
)  # fmt: skip
def test_paperwork_fits_and_is_accessible(visit):
    assert AXE.is_file(), "axe-core is missing; run: python hatch_build.py --check"
    for address in PAGES:
        visit.go(address)
        wide = visit.page.evaluate("document.documentElement.scrollWidth")
        assert wide <= visit.page.viewport_size["width"], f"{address} is {wide} px wide"
        assert _found(visit.page) == [], address


@pytest.mark.parametrize("visit", [(1440, "light"), (390, "dark")], indirect=True)
def test_one_card_in_each_state_is_accessible(visit):
    page = visit.page
    visit.go("/cards/?status=draft")
    number = int(page.locator("table.cards th[scope=row] a").last.inner_text())
    address = f"/cards/{number}/"
    visit.go(address)
    assert _found(page) == []
    page.get_by_label("Issued by (name)").fill("R. Foreman")
    page.get_by_role("button", name="Issue this card").click()
    page.wait_for_selector(".state-issued")
    assert "1 card is issued in the name of R. Foreman" in page.inner_text("main")
    assert len(page.inner_text(".seal code")) == 64
    assert _found(page) == []
    page.get_by_label("Why").fill("bridge closed")
    page.get_by_role("button", name="Withdraw").click()
    page.wait_for_selector(".state-withdrawn")
    assert "bridge closed" in page.inner_text("main")
    assert _found(page) == []
    page.get_by_label("Note to the crew").fill("Go round by the north")
    page.get_by_role("button", name="Draft version").click()
    page.wait_for_selector(".state-draft")
    assert "Note from the foreman: Go round by the north" in page.inner_text(".steps")
    assert page.locator("table.lines tbody tr").count() >= 2


def test_the_screen_says_what_the_paper_says(visit, tmp_path):
    import subprocess

    page = visit.page
    visit.go("/cards/1/")
    (tmp_path / "card.pdf").write_bytes(page.request.get(f"{visit.office.url}/cards/1.pdf").body())
    paper = _squeezed(
        subprocess.run(
            ["pdftotext", "-layout", str(tmp_path / "card.pdf"), "-"],
            capture_output=True, text=True, check=True,
        ).stdout
    )  # fmt: skip
    texts = page.locator(".steps li").all() + page.locator(".cautions li strong:first-child").all()
    words = [word for each in texts for word in _squeezed(each.inner_text()).split()]
    missing = [word for word in words if word not in paper]
    assert words
    assert missing == []


def test_many_cards_are_printed_and_issued_at_once(visit):
    page = visit.page
    visit.go("/cards/?status=draft")
    boxes = page.locator("input[name=card]")
    first = [boxes.nth(at).get_attribute("value") for at in (0, 1)]
    for at in (0, 1):
        boxes.nth(at).check()
    answer = page.request.get(
        f"{visit.office.url}/cards.pdf?card={first[0]}&card={first[1]}&paper=letter&units=us"
    )
    assert answer.body().startswith(b"%PDF")
    page.get_by_label("Issued by (name)").fill("R. Foreman")
    page.get_by_role("button", name="Issue the ticked").click()
    page.wait_for_selector("main [role=status]")
    told = page.inner_text("main")
    assert "issued in the name of R. Foreman" in told or "cannot be issued" in told


def test_a_test_is_entered_with_the_keyboard_and_held_against_its_limits(visit):
    page = visit.page
    visit.go("/gravel/pits/pit-1/")
    page.locator("#new-test summary").click()
    for sieve, value in (("25", "100"), ("19", "98"), ("12.5", "80"), ("4.75", "60")):
        page.fill(f"input[name='sieve_{sieve}']", value)
    for sieve, value in (("2.36", "30"), ("0.075", "10")):
        page.fill(f"input[name='sieve_{sieve}']", value)
    page.fill("input[name=laboratory]", "Another lab")
    page.locator("#new-test button").focus()
    page.keyboard.press("Enter")
    page.get_by_text("Another lab").first.wait_for()
    page.select_option("select[name=spec]", "Iowa 11")
    page.get_by_role("button", name="Show").click()
    page.wait_for_load_state()
    assert "4.75 mm 60 (wants 30 to 55)" in page.inner_text("main")
    drawn = "each => each.every(one => one.complete && one.naturalWidth > 0)"
    assert page.locator("img.curve").count() == 2
    assert page.locator("img.curve").evaluate_all(drawn)


def _found(page) -> list[str]:
    """Everything axe has to say, of whatever weight."""
    page.evaluate(AXE.read_text(encoding="utf-8"))
    result = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [f"{each['id']}: {each['nodes'][0]['html'][:160]}" for each in result["violations"]]


def _squeezed(text: str) -> str:
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())
