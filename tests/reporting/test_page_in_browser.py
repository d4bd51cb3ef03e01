"""The page of the demo's report in a real browser, opened from disk (Debian: chromium, chromium-driver)."""

import base64
import shutil

import pytest

DEFINITION = """
title = "Page"
sections = ["levels", "maps", "thresholds", "sign_off"]
"""
FLAGS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--window-size=1200,1000",
)


@pytest.fixture(scope="module")
def page(demo_record, tmp_path_factory):
    import gwnet

    folder = tmp_path_factory.mktemp("page")
    (folder / "page.toml").write_text(DEFINITION)
    with gwnet.open(demo_record) as net:
        made = net.report(folder / "page.toml", "2026-Q1", folder / "out")
    (path,) = [path for path in made if path.suffix == ".html"]
    return path


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    chromium, driver = shutil.which("chromium"), shutil.which("chromedriver")
    if not chromium or not driver:
        pytest.skip("no browser: install Debian's chromium and chromium-driver to run this test")
    from selenium import webdriver
    from selenium.webdriver.chrome.options import Options
    from selenium.webdriver.chrome.service import Service

    options = Options()
    options.binary_location = chromium
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    opened = webdriver.Chrome(options=options, service=Service(driver))
    yield opened
    opened.quit()


@pytest.fixture
def shown(browser, page):
    browser.get(page.as_uri())
    return browser


def click(browser, well):
    """Click a well where it can be seen; the page itself scrolls gently, which a test cannot wait for."""
    element = browser.find_element("css selector", f'.well[aria-label="Well {well}"]')
    browser.execute_script("arguments[0].scrollIntoView({block: 'center', behavior: 'instant'})", element)
    element.click()


def view_of(browser):
    chart = browser.find_element("css selector", ".chart")
    return chart, float(chart.get_attribute("data-from")), float(chart.get_attribute("data-to"))


@pytest.mark.slow
def test_it_opens_from_disk_without_an_error_and_asks_for_nothing(browser, page):
    browser.get_log("browser"), browser.get_log("performance")
    browser.get(page.as_uri())
    assert [entry["message"] for entry in browser.get_log("browser")] == []
    import json

    asked = [
        json.loads(entry["message"])["message"]["params"]["request"]["url"]
        for entry in browser.get_log("performance")
        if '"Network.requestWillBeSent"' in entry["message"]
    ]
    assert [url for url in asked if not url.startswith(("file:", "data:"))] == []
    assert browser.find_element("css selector", "h1").text == "Page"


def test_a_click_on_a_well_tells_its_record_and_draws_its_hydrograph(shown):
    click(shown, "W-07")
    record = shown.find_element("css selector", ".wellrecord")
    assert record.find_element("css selector", "h3").text == "W-07"
    assert "Screen below ground" in record.text
    assert "2026-02-17" in record.text
    chart, *_ = view_of(shown)
    assert chart.get_attribute("data-well") == "W-07"
    assert "W-07" in chart.get_attribute("aria-label")


def test_the_keyboard_reaches_a_well_and_zooms_and_moves(shown):
    from selenium.webdriver.common.keys import Keys

    shown.find_element("css selector", '.well[aria-label="Well W-04"]').send_keys(Keys.ENTER)
    assert shown.find_element("css selector", ".wellrecord h3").text == "W-04"
    chart, start, end = view_of(shown)
    chart.send_keys("+")
    _, nearer, to = view_of(shown)
    assert to - nearer == pytest.approx(0.7 * (end - start), rel=0.01)
    chart.send_keys(Keys.ARROW_RIGHT)
    _, moved, _ = view_of(shown)
    assert moved > nearer
    chart.send_keys("0")
    assert view_of(shown)[1:] == (start, end)


def test_the_wheel_zooms_about_the_pointer_and_a_drag_moves(shown):
    from selenium.webdriver.common.action_chains import ActionChains
    from selenium.webdriver.common.actions.wheel_input import ScrollOrigin

    chart, start, end = view_of(shown)
    shown.execute_script("arguments[0].scrollIntoView({block: 'center', behavior: 'instant'})", chart)
    ActionChains(shown).scroll_from_origin(ScrollOrigin.from_element(chart), 0, -400).perform()
    _, nearer, to = view_of(shown)
    assert to - nearer < 0.7 * (end - start)
    assert nearer > start
    assert to < end
    ActionChains(shown).move_to_element(chart).click_and_hold().move_by_offset(60, 0).release().perform()
    _, moved, _ = view_of(shown)
    assert moved < nearer
    ActionChains(shown).double_click(chart).perform()
    assert view_of(shown)[1:] == (start, end)


def test_something_is_drawn_and_more_of_it_where_there_are_levels(shown):
    count = """
        const chart = document.querySelector('.chart');
        const pixels = chart.getContext('2d').getImageData(0, 0, chart.width, chart.height).data;
        let inked = 0;
        for (let at = 0; at < pixels.length; at += 4) if (pixels[at + 3] && pixels[at + 2] - pixels[at] > 30) inked += 1;
        return inked;"""
    click(shown, "W-07")
    assert shown.execute_script(count) > 500


def test_names_with_markup_are_text_in_the_panel(shown):
    assert shown.execute_script("return document.querySelectorAll('.wellrecord script, .wellrecord img').length") == 0


def test_a_narrow_screen_is_not_wider_than_it_is(shown):
    shown.set_window_size(420, 900)
    width = shown.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
    shown.set_window_size(1200, 1000)
    assert width[0] <= width[1]


@pytest.mark.slow
def test_print_has_the_report_and_not_the_tools(shown, tmp_path):
    from pypdf import PdfReader

    file = tmp_path / "page.pdf"
    file.write_bytes(base64.b64decode(shown.print_page()))
    text = " ".join(page.extract_text() for page in PdfReader(file).pages)
    assert "Levels of this period" in text
    assert "W-07" in text
    assert "Whole record" not in text


LABELS = """
    return [...document.querySelectorAll('.sheet.map text')].map((text) => {
      const box = text.getBoundingClientRect();
      return [text.textContent, box.left, box.top + 3, box.right, box.bottom - 3];
    });"""


@pytest.mark.parametrize("width", [1200, 400])
def test_labels_of_the_map_do_not_collide(shown, width):
    shown.set_window_size(width, 900)
    shown.refresh()
    labels = shown.execute_script(LABELS)
    shown.set_window_size(1200, 1000)
    assert len(labels) > 12
    meeting = [
        (one[0], other[0])
        for place, one in enumerate(labels)
        for other in labels[place + 1 :]
        if min(one[3], other[3]) - max(one[1], other[1]) > 0.5 and min(one[4], other[4]) - max(one[2], other[2]) > 0.5
    ]
    assert meeting == []


def test_the_record_of_a_well_is_shown_whole(shown):
    click(shown, "W-03")
    heights = shown.execute_script(
        "const panel = document.querySelector('.wellrecord'); return [panel.scrollHeight, panel.clientHeight];"
    )
    assert heights[0] <= heights[1] + 1


def test_wide_tables_and_figures_scroll_inside_themselves_at_400_pixels(shown):
    shown.set_window_size(400, 900)
    shown.refresh()
    found = shown.execute_script(
        "const parts = [...document.querySelectorAll('.table, .picture')];"
        "return [document.documentElement.scrollWidth, window.innerWidth, parts.filter((part) => part.tabIndex < 0).length,"
        " parts.length, document.querySelector('.sheet.map').clientHeight];"
    )
    shown.set_window_size(1200, 1000)
    width, window, unreachable, parts, map_height = found
    assert width <= window
    assert (unreachable, parts > 2, map_height > 250) == (0, True, True)


CONTRAST = """
    const light = (colour) => {
      const parts = colour.match(/[\\d.]+/g).map(Number);
      if (parts.length > 3 && parts[3] === 0) return null;
      const [r, g, b] = parts.slice(0, 3).map((part) => {
        const value = part / 255;
        return value <= 0.03928 ? value / 12.92 : Math.pow((value + 0.055) / 1.055, 2.4);
      });
      return 0.2126 * r + 0.7152 * g + 0.0722 * b;
    };
    const found = [];
    for (const element of document.querySelectorAll('body *')) {
      const own = [...element.childNodes].some((node) => node.nodeType === 3 && node.textContent.trim());
      if (!own || element.closest('svg, script, noscript, .skip')) continue;
      let ground = 1, at = element;
      while (at) {
        const value = light(getComputedStyle(at).backgroundColor);
        if (value !== null) { ground = value; break; }
        at = at.parentElement;
      }
      const ink = light(getComputedStyle(element).color);
      const ratio = (Math.max(ink, ground) + 0.05) / (Math.min(ink, ground) + 0.05);
      if (ratio < 4.5) found.push([element.tagName, element.textContent.slice(0, 30), ratio]);
    }
    return found;"""


def test_every_text_has_the_contrast_of_wcag_2_level_aa(shown):
    """W3C, Web Content Accessibility Guidelines 2.2 (2023), success criterion 1.4.3: 4.5 to 1."""
    assert shown.execute_script(CONTRAST) == []


@pytest.mark.slow
def test_figures_tables_and_pictures_have_a_text_in_their_place(shown):
    missing = shown.execute_script(
        "return [...document.querySelectorAll('.picture')].filter((one) => !one.getAttribute('aria-label')).length"
        " + [...document.querySelectorAll('img')].filter((one) => !one.alt).length"
        " + [...document.querySelectorAll('.table table')].filter((one) => !one.caption.textContent.trim()).length"
        " + [...document.querySelectorAll('canvas')].filter((one) => !one.getAttribute('aria-label')).length"
    )
    assert missing == 0
    assert shown.execute_script("return document.querySelectorAll('.picture').length") > 1


@pytest.mark.slow
def test_days_are_not_broken_at_their_hyphens_on_a_narrow_screen(shown):
    """The day of the state and those of the newest levels stood on two lines."""
    shown.set_window_size(400, 900)
    lines = shown.execute_script(
        "return [...document.querySelectorAll('.day')].map((one) => one.getClientRects().length)"
    )
    assert lines
    assert set(lines) == {1}
    assert shown.execute_script(
        "return [...document.querySelectorAll('.wellrecord td:first-child')].every("
        "(one) => getComputedStyle(one).whiteSpace === 'nowrap')"
    )
