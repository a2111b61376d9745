"""The morning in a real browser: from the queue to the verdict, the record and the work list."""

import os
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from review_site import DRY, HOSTILE, OVERDUE

from condlube.operations.desk import Desk
from condlube.operations.report import static_report

PAGES = [
    "/queue", "/queue?standing=all", f"/bearing?id={DRY}", f"/bearing?id={HOSTILE}", "/worklist", "/fleet", "/data",
    "/policy?name=default&against=in_force&trial=yes", "/backtest", "/api", "/login", "/bearing?id=nothing",
    "/worklist?route=none", "/queue?text=none",
]  # fmt: skip
STANDARDS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


def shot(page, name):
    """A picture for whoever asks for one."""
    if folder := os.environ.get("CONDLUBE_SCREENSHOTS"):
        width = page.viewport_size["width"]
        page.screenshot(path=str(Path(folder) / f"{name}-{width}.png"), full_page=True)


def test_the_whole_morning(page):
    analyst = f"Ines {page.viewport_size['width']}"
    page.goto("/")
    page.get_by_role("link", name=DRY, exact=True).click()
    assert page.get_by_role("heading", level=1).inner_text().startswith(DRY)
    shot(page, "bearing")
    verdict = page.locator("#verdict")
    verdict.get_by_label("Agree").check()
    verdict.get_by_label("Note").fill("heard it too <b>")
    verdict.get_by_label("Your name").fill(analyst)
    verdict.get_by_role("button", name="Record verdict").click()
    assert page.get_by_role("status").inner_text().startswith("Verdict recorded")
    assert page.get_by_role("cell", name="heard it too <b>").count() >= 1
    record = page.locator("#record")
    record.get_by_label("Grams really given").fill("22")
    record.get_by_label("Outlet seen open").select_option("yes")
    record.get_by_role("button", name="Record", exact=True).click()
    assert page.get_by_role("status").inner_text().startswith("Recorded")
    page.get_by_role("link", name="Queue", exact=True).first.click()
    row = page.locator("table.queue tr", has=page.get_by_role("link", name=DRY, exact=True))
    assert analyst in row.inner_text()
    shot(page, "queue")
    page.get_by_role("link", name="Work list").click()
    job = page.locator("article.job", has=page.get_by_role("link", name=OVERDUE, exact=True))
    assert "strokes" in job.inner_text()
    assert "Wipe fitting and coupler clean" in job.inner_text()
    shot(page, "worklist")


@pytest.mark.parametrize("address", PAGES)
def test_nothing_is_wider_than_the_screen_and_wcag_holds(page, address):
    response = page.goto(address)
    assert response.status == (404 if address.endswith("nothing") else 200)
    page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    assert violations(page, STANDARDS) == []
    page.emulate_media(color_scheme="dark")
    assert violations(page, {"type": "rule", "values": ["color-contrast"]}) == []


def violations(page, rules):
    """What axe-core finds; in the other scheme the colours alone differ."""
    found = Axe().run(page, options={"runOnly": rules, "resultTypes": ["violations"]}).response["violations"]
    return [(v["id"], v["nodes"][0]["html"][:200]) for v in found]


def test_no_page_scrolls_sideways_on_the_narrowest_screen(chromium, server):
    """Reflow at 320 CSS pixels: WCAG 2.2, 1.4.10."""
    context = chromium.new_context(viewport={"width": 320, "height": 800}, base_url=server)
    page = context.new_page()
    widths = {}
    for address in PAGES:
        page.goto(address)
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        widths[address] = page.evaluate("document.documentElement.scrollWidth")
    context.close()
    assert {address: width for address, width in widths.items() if width > 320} == {}


def test_keyboard_alone_reaches_the_bearing(page):
    page.goto("/queue")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "main"
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == DRY:
            break
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    page.keyboard.press("Enter")
    page.wait_for_url("**/bearing?id=" + DRY)


def focused(page):
    return page.evaluate("document.activeElement.textContent")


def test_rows_are_walked_ticked_and_agreed_with_by_keys(page):
    page.goto("/queue?text=M")
    rows = page.locator("table.queue .who > a")
    names = rows.all_inner_texts()
    assert len(names) >= 3
    assert page.locator(".keys").is_visible()
    page.keyboard.press("ArrowDown")
    assert focused(page) not in names, "keys are heard only with the focus on a row"
    page.get_by_role("link", name="Skip to the rows").focus()
    page.keyboard.press("Enter")
    page.keyboard.press("ArrowDown")
    assert focused(page) == names[0]
    page.keyboard.press("ArrowDown")
    page.keyboard.press("Space")
    assert focused(page) == names[1]
    assert page.get_by_label(f"Agree on {names[1]}").is_checked()
    page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowUp")
    assert focused(page) == names[0]
    page.keyboard.press("End")
    assert focused(page) == names[-1]
    page.get_by_label("Your name").fill("Key")
    page.get_by_role("link", name=names[0], exact=True).focus()
    page.keyboard.press("Control+Enter")
    page.wait_for_url("**done=1**")
    assert page.get_by_role("status").inner_text() == "1 verdict recorded."
    assert "Key" in page.locator("table.queue tr", has=page.get_by_role("link", name=names[1], exact=True)).inner_text()
    page.get_by_role("link", name=names[0], exact=True).focus()
    page.keyboard.press("Enter")
    page.wait_for_url(f"**/bearing?id={names[0]}")


def test_trends_zoom_under_the_strict_policy(page):
    page.goto(f"/bearing?id={DRY}")
    page.get_by_role("button", name="Zoom and read out").click()
    page.locator("#zoomed .main-svg").first.wait_for()
    assert page.locator("#zoomed .plot-container").count() == 3
    shot(page, "zoomed")


def test_without_script_everything_but_the_zoom_is_there(chromium, server):
    context = chromium.new_context(base_url=server, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"/bearing?id={DRY}")
    assert page.locator("svg.trend").count() == 3
    assert not page.get_by_role("button", name="Zoom and read out").is_visible()
    assert page.get_by_role("button", name="Record verdict").is_visible()
    context.close()


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_work_list_prints(chromium, server, paper, tmp_path):
    context = chromium.new_context(base_url=server)
    page = context.new_page()
    page.goto("/worklist")
    page.emulate_media(media="print")
    assert not page.get_by_role("navigation").first.is_visible()
    assert not page.locator("form.filters").is_visible()
    folder = Path(os.environ.get("CONDLUBE_SCREENSHOTS", tmp_path))
    made = page.pdf(path=str(folder / f"worklist-{paper}.pdf"), format=paper)
    assert made.startswith(b"%PDF")
    context.close()


def test_hostile_texts_do_not_run(page):
    for address in (f"/bearing?id={HOSTILE}", "/queue?standing=all", "/fleet", "/worklist"):
        page.goto(address)
        assert page.title() != "hit"
        assert page.locator("main img").count() == 0


def test_the_static_report_opens_without_a_server(chromium, site, tmp_path):
    text = static_report(Desk(site))
    (tmp_path / "report.html").write_text(text, encoding="utf-8")
    page = chromium.new_page()
    asked = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto((tmp_path / "report.html").as_uri())
    assert DRY in page.inner_text("main")
    assert [url for url in asked if not url.startswith("file:")] == []
    assert Axe().run(page, options={"runOnly": STANDARDS}).response["violations"] == []
    page.close()
