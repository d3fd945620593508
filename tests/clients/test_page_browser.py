"""The page in a real browser: headless Chromium through Playwright, at a phone's and a desk's width.

Skipped where there is no Playwright or no Chromium. ``COATCAST_CHROMIUM`` names one that is not on the path.
"""

from __future__ import annotations

import os
import re
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import uvicorn
from page_samples import Clock, page_app, planned

from scheduler.web.keys import keys_of
from scheduler.web.run import addresses

sync_api = pytest.importorskip(
    "playwright.sync_api", reason="no playwright: the page is not tried in a browser"
)
expect = sync_api.expect
CHROMIUM = next(
    (
        found
        for name in (os.environ.get("COATCAST_CHROMIUM", ""), "chromium", "chromium-browser", "google-chrome")
        if name and (found := shutil.which(name))
    ),
    None,
)
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium: the page is not tried in a browser")

PHONE, DESK = 390, 1280
TALL = 844
SCREENS = (
    *("/", "/add", "/logs", "/log/H01", "/log/H09", "/catch-up", "/winter", "/pails", "/sure", "/settings"),
    *("/calendar", "/more", "/reminders", "/reminder/1", "/nowhere"),
)
ROUND_TRIP = 14_600  # bytes that TCP sends before it waits for an answer: ten segments (RFC 6928)


@contextmanager
def served(app: Any, host: str = "127.0.0.1") -> Iterator[int]:
    """The app on a free port, in a thread of this process."""
    with socket.socket() as listener:
        listener.bind((host, 0))
        server = uvicorn.Server(uvicorn.Config(app, log_level="error", access_log=False))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
        thread.start()
        until = time.monotonic() + 20
        while not server.started and time.monotonic() < until:
            time.sleep(0.02)
        yield int(listener.getsockname()[1])
        server.should_exit = True
        thread.join(20)


@pytest.fixture(scope="module")
def chromium() -> Iterator[Any]:
    with sync_api.sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield browser
        browser.close()


@pytest.fixture(scope="module")
def still(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a page that nobody writes to."""
    app = page_app(tmp_path_factory.mktemp("yard"))
    planned(app)
    with served(app) as port:
        yield f"http://localhost:{port}"


Open = Callable[..., Any]


@pytest.fixture
def phone(chromium: Any) -> Iterator[Open]:
    """Opens a page of a fresh browser; what the browser complains of fails the test."""
    contexts, said = [], []

    def opened(width: int = PHONE, **more: Any) -> Any:
        context = chromium.new_context(viewport={"width": width, "height": TALL}, **more)
        context.set_default_timeout(15_000)
        contexts.append(context)
        page = context.new_page()
        page.on("console", lambda message: said.append(message.text))
        page.on("pageerror", lambda error: said.append(str(error)))
        return page

    yield opened
    for context in contexts:
        context.close()
    complaints = [line for line in said if "404" not in line and "403" not in line]
    assert complaints == []


# ------------------------------------------------------------------ the tap story


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts on", "scripts off"])
@pytest.mark.parametrize("width", [PHONE, DESK])
def test_the_story_of_the_taps(width: int, scripts: bool, phone: Open, tmp_path: Path) -> None:
    clock = Clock()
    clock.goes(hours=3, minutes=40)
    with served(page_app(tmp_path, clock)) as port:
        page = phone(width, java_script_enabled=scripts)
        page.goto(f"http://localhost:{port}/")
        expect(page.locator("h1")).to_have_text("Seal today")

        page.get_by_role("link", name="Add log").click()  # tap 1
        page.get_by_label("ash", exact=True).check()  # tap 2
        page.get_by_label("Butt across, cm").fill("40")  # the one number
        page.get_by_role(
            "button", name="Add it", exact=True
        ).first.click()  # tap 3; the cut of today is ticked
        expect(page.get_by_role("status")).to_contain_text("H17: ash")

        page.get_by_role("link", name="Today").click()
        page.get_by_role("button", name="Coated: H01 cherry").click()
        line = page.locator("li.task", has_text="H01")
        expect(line).to_contain_text("coated 9:40")

        line.get_by_role("button", name="Undo").click()
        button = page.get_by_role("button", name="Coated: H01 cherry")
        expect(button).to_be_visible()

        button.click()
        line = page.locator("li.task", has_text="H01")
        line.locator("summary").click()
        line.locator("input[type=time]").fill("09:10")
        line.get_by_role("button", name="Set").click()
        expect(page.locator("li.task", has_text="H01")).to_contain_text("coated 9:10")

        page.reload()
        page.get_by_role("button", name="Coated: H03 pear").click()
        expect(page.locator("li.task", has_text="H03")).to_contain_text("coated 9:40")
        page.go_back()
        again = page.get_by_role("button", name="Coated: H03 pear")
        if again.count():  # the old page came back as it was: the second tap
            again.click()
        page.goto(f"http://localhost:{port}/log/H03")
        expect(page.locator("ol li", has_text="Coat on H03")).to_have_count(1)


def test_a_double_tap_on_a_button_is_one_coat(phone: Open, tmp_path: Path) -> None:
    with served(page_app(tmp_path)) as port:
        page = phone()
        page.goto(f"http://localhost:{port}/")
        page.get_by_role("button", name="Coated: H01 cherry").dblclick(no_wait_after=True)
        expect(page).to_have_url(re.compile("said="))  # the second tap breaks off the first one's way there
        page.goto(f"http://localhost:{port}/log/H01")
        expect(page.locator("ol li", has_text="Coat on H01")).to_have_count(1)


def test_many_ends_are_ticked_and_noted_with_the_bar_under_the_thumb(phone: Open, tmp_path: Path) -> None:
    with served(page_app(tmp_path)) as port:
        page = phone()
        page.goto(f"http://localhost:{port}/logs")
        for end in ("H03 butt", "H03 top", "H04 butt"):
            page.get_by_label(end, exact=True).check()
        page.get_by_role("button", name="Coated").click()
        expect(page.locator(".end", has_text="milky, coated today 6:00")).to_have_count(3)


def test_from_the_wifi_the_printed_address_opens_the_page_and_its_buttons_work(
    phone: Open, tmp_path: Path
) -> None:
    """Not on the loopback a browser sends no Sec-Fetch-Site over plain HTTP: the Origin alone must do."""
    here = addresses()
    if not here:
        pytest.skip("no network address: the Wi-Fi is not tried")
    with served(page_app(tmp_path, lan=True), "0.0.0.0") as port:
        page = phone()
        address = f"http://{here[0]}:{port}"
        assert page.goto(f"{address}/").status == 403
        page.goto(f"{address}/in/{keys_of(tmp_path / 'yard.toml').page}")
        expect(page).to_have_url(f"{address}/")
        page.get_by_role("button", name="Coated: H01 cherry").click()
        expect(page.locator("li.task", has_text="H01")).to_contain_text("coated 6:00")


# ------------------------------------------------------------------ how it reads


@pytest.mark.parametrize("width", [320, PHONE, DESK])
def test_no_screen_scrolls_sideways_and_no_target_is_small(width: int, still: str, phone: Open) -> None:
    page = phone(width)
    for path in SCREENS:
        page.goto(still + path)
        for one in page.locator("summary").all():
            if one.is_visible():
                one.click()
        wide = page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth")
        assert wide <= 0, path
        assert page.evaluate(SMALL) == [], path


# Letters under 18 px and targets under 48 px: (what, how much).
SMALL = """() => {
  const out = [];
  const seen = (e) => e.getClientRects().length && !e.closest('.hide, .skip');
  for (const e of document.querySelectorAll('body *')) {
    const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
    if (own && seen(e) && !e.closest('svg') && parseFloat(getComputedStyle(e).fontSize) < 18)
      out.push([e.textContent.trim().slice(0, 30), getComputedStyle(e).fontSize]);
  }
  const touched = 'button, summary, select, .btn, .bottom a, .menu a, .chip, .tick-box';
  for (const e of document.querySelectorAll(touched))
    if (seen(e) && e.getBoundingClientRect().height < 47.5)
      out.push([e.textContent.trim().slice(0, 30), e.getBoundingClientRect().height]);
  return out;
}"""


def test_the_first_screen_of_a_good_day_stands_whole_on_a_phone(still: str, phone: Open) -> None:
    page = phone()
    page.goto(still)
    bar = page.locator("nav.bottom").bounding_box()
    last = page.locator("li.task").nth(1).bounding_box()
    assert last["y"] + last["height"] <= bar["y"], "both lines stand above the bar"
    assert bar["y"] + bar["height"] == TALL
    assert page.locator(".task .go").first.bounding_box()["height"] >= 56


@pytest.mark.parametrize(
    "look", [{}, {"color_scheme": "dark"}, {"contrast": "more"}], ids=["light", "dark", "contrast"]
)
def test_axe_finds_nothing_at_a_phones_width(look: dict[str, str], still: str, phone: Open) -> None:
    check_with_axe(still, phone(PHONE, bypass_csp=True, **look), SCREENS if not look else ("/", "/log/H01"))


def test_axe_finds_nothing_at_a_desks_width_nor_in_the_bright_sun(still: str, phone: Open) -> None:
    page = phone(DESK, bypass_csp=True)
    check_with_axe(still, page, ("/", "/logs"))
    for look in ("sun", "dark"):
        page.context.add_cookies([{"name": "coatcast-look", "value": look, "url": still}])
        check_with_axe(still, page, ("/more",))


def check_with_axe(address: str, page: Any, paths: tuple[str, ...]) -> None:
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="no axe").Axe()
    for path in paths:
        page.goto(address + path)
        for one in page.locator("summary").all():
            one.click()
        found = axe.run(page)
        assert found.violations_count == 0, f"{path}: {found.generate_report()}"


def test_the_page_is_one_answer_and_light(still: str, phone: Open) -> None:
    page = phone()
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    for path in SCREENS:
        asked.clear()
        body = page.goto(still + path).body()
        page.wait_for_timeout(50)
        assert [url for url in asked if not url.startswith("data:")] == [still + path]
        assert len(body) < 60_000
    assert len(page.goto(still).body()) < ROUND_TRIP, "the first screen comes in one round trip"


def test_on_paper_the_buttons_are_gone_and_the_lists_are_there(still: str, phone: Open) -> None:
    page = phone(794)
    page.emulate_media(media="print")
    for path, words in (("/", "Seal today"), ("/logs", "open since"), ("/log/H01", "open since")):
        page.goto(still + path)
        assert page.get_by_text(words).first.is_visible()
        assert not any(one.is_visible() for one in page.locator("button, .bottom, input").all())


def test_the_verdict_does_not_hang_on_a_colour(still: str, phone: Open) -> None:
    page = phone(forced_colors="active")
    page.goto(still)
    expect(page.locator("h1")).to_have_text("Seal today")
    assert page.locator(".tape desc").inner_html().startswith("From now")
    page.goto(f"{still}/logs")
    words = page.locator(".end").all_inner_texts()
    assert all(
        any(w in text for w in ("bare", "cracked", "milky", "coat", "sealed", "spoiled")) for text in words
    )


def test_the_page_of_a_day_on_is_reached_by_a_plain_reload(phone: Open, tmp_path: Path) -> None:
    clock = Clock()
    with served(page_app(tmp_path, clock)) as port:
        page = phone(java_script_enabled=False)
        page.goto(f"http://localhost:{port}/")
        clock.at += timedelta(days=2)
        page.reload()
        assert page.locator("h1").inner_text() != "Seal today"
        expect(page.locator("header")).to_contain_text("Thu 6")
