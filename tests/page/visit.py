"""The local page as a visitor with a keyboard sees it, on a desk and on a phone: visit.py ADDRESS CAPTURE [PICTURES]."""

import pathlib
import shutil
import sys
from urllib.parse import urldefrag, urlsplit

from playwright.sync_api import sync_playwright

ADDRESS, CAPTURE, PICTURES = sys.argv[1].rstrip("/"), pathlib.Path(sys.argv[2]), sys.argv[3] if len(sys.argv) > 3 else ""
DESK, PHONE = {"width": 1000, "height": 900}, {"width": 360, "height": 740}
# Nothing but this machine can be found by its name.
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--disable-background-networking", "--disable-component-update",
         "--disable-sync", "--no-first-run", "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"]
# What a keyboard has to reach, in the order of the page.
WITHIN_REACH = """() => [...document.querySelectorAll('a[href], button, input, select, textarea, summary')]
    .filter(e => e.type !== 'hidden' && e.checkVisibility()).length"""
FOCUSED = """() => {
    const e = document.activeElement;
    if (!e || e === document.body) return null;
    const all = [...document.querySelectorAll('*')];
    const style = getComputedStyle(e), reach = e.querySelector('.reach'), text = e.querySelector('text');
    const marked = (style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) > 0)
        || (reach && getComputedStyle(reach).stroke !== 'none') || (text && getComputedStyle(text).textDecorationLine === 'underline');
    return { at: all.indexOf(e), what: e.outerHTML.slice(0, 120), marked };
}"""
NAMELESS = """() => [...document.querySelectorAll('input, select, textarea')]
    .filter(e => e.type !== 'hidden' && !(e.labels && e.labels.length)).map(e => e.outerHTML)"""
TOO_WIDE = """() => {
    const wide = document.documentElement.clientWidth;
    return document.documentElement.scrollWidth <= wide ? [] : [...document.body.querySelectorAll('*')]
        .filter(e => e.getBoundingClientRect().right > wide + 1).map(e => e.outerHTML.slice(0, 120)).slice(0, 3).concat(['']);
}"""
faults = []


def expect(holds, what):
    if not holds:
        faults.append(what)


def watch(page, but="nothing"):
    page.on("console", lambda m: expect(m.type not in ("error", "warning") or but in m.text, f"console: {m.text}"))
    page.on("pageerror", lambda e: expect(False, f"error in a page: {e}"))
    page.on("request", lambda r: expect(urlsplit(r.url).netloc == urlsplit(ADDRESS).netloc, f"asks the net: {r.url}"))


def shoot(page, name):
    if PICTURES:
        page.screenshot(path=f"{PICTURES}/{name}.png", full_page=True)


def keyboard(page, path):
    """Every link and field is reached by Tab alone, and shows that it is."""
    within_reach, seen = page.evaluate(WITHIN_REACH), set()
    for _ in range(within_reach + 2):
        page.keyboard.press("Tab")
        focused = page.evaluate(FOCUSED)
        if focused is None or focused["at"] in seen:
            break
        seen.add(focused["at"])
        expect(focused["marked"], f"{path}: focus cannot be seen on {focused['what']}")
    expect(len(seen) == within_reach, f"{path}: {len(seen)} of {within_reach} reached by keyboard")


def kind(path):
    """Pages that differ only in their numbers are of a kind."""
    return "/".join("N" if part.isdigit() else part for part in path.split("?")[0].split("/")) + "?" * ("?" in path)


def visit_all(browser):
    page = browser.new_page(viewport=DESK)
    watch(page)
    waiting, known, kinds, pages = ["/"], {"/"}, set(), 0
    while waiting:
        path = waiting.pop(0)
        # The first of a kind closely, of the others a few.
        first = kind(path) not in kinds
        if not first and pages > 40:
            continue
        kinds.add(kind(path))
        pages += 1
        answer = page.goto(ADDRESS + path)
        expect(answer.status == 200, f"{path}: {answer.status}")
        ours = not path.endswith("/sheet")
        for link in page.eval_on_selector_all("a[href]", "links => links.map(a => a.href.baseVal ?? a.getAttribute('href'))"):
            to = urldefrag(link)[0]
            expect(not to or to.startswith("/"), f"{path}: leads away, to {to}")
            if to and to not in known and "/export/" not in to and not to.endswith(".pdf"):
                known.add(to)
                waiting.append(to)
        expect(page.locator("h1").count() == 1, f"{path}: not one heading")
        expect(page.evaluate(NAMELESS) == [], f"{path}: fields without a label")
        if path.startswith("/job/"):
            expect("permission to dig" in page.inner_text("body").lower(), f"{path}: no caution")
        if first:
            name = "front" if path == "/" else kind(path).strip("/").replace("/", "-").replace("?", "-page")
            shoot(page, f"desk-{name}")
            if ours:
                keyboard(page, path)
        page.set_viewport_size(PHONE)
        expect(page.evaluate(TOO_WIDE) == [], f"{path}: wider than a phone: {page.evaluate(TOO_WIDE)}")
        if first:
            shoot(page, f"phone-{name}")
        page.set_viewport_size(DESK)
    page.close()
    return pages


def with_keys_alone(browser):
    """From the list to a station, and a capture through the form."""
    page = browser.new_page(viewport=PHONE)
    # A browser complains of every answer that is not a page.
    watch(page, but="the server responded with a status of 415")

    def tab_to(selector):
        for _ in range(300):
            page.keyboard.press("Tab")
            if page.evaluate("s => !!document.activeElement.closest(s)", selector):
                return
        raise SystemExit(f"{selector} is not reached by keyboard on {page.url}")

    def enter(leads_to):
        page.keyboard.press("Enter")
        page.wait_for_url(leads_to, timeout=60_000)

    page.goto(ADDRESS)
    page.keyboard.press("Tab")
    expect("skip" in (page.evaluate("() => document.activeElement.className") or ""), "the first stop does not skip")
    page.keyboard.press("Enter")
    expect(page.evaluate("() => document.activeElement.id") == "content", "skipping does not lead to the content")
    tab_to(".cards a")
    enter("**/job/yard.job")
    tab_to("a[href$='/upload']")
    enter("**/upload")
    tab_to("#name")
    page.keyboard.type("walk-1")
    # What the system's own dialog does, a test cannot.
    page.set_input_files("#files", [str(file) for file in sorted(CAPTURE.iterdir())])
    tab_to("button")
    enter("**/station/*")
    expect(page.locator(".verdict").first.inner_text() in ("Agree", "Doubt", "Refuse"), "no verdict after the upload")
    expect("walk-1" in page.inner_text("body"), "the capture's name is not told")
    station = page.url
    tab_to("a[href$='/pictures']")
    enter("**/pictures")
    drawn = page.eval_on_selector_all("img", "all => all.map(i => i.complete && i.naturalWidth)")
    expect(len(drawn) >= 5 and all(drawn), f"pictures are missing: {drawn}")
    expect(page.evaluate(TOO_WIDE) == [], f"pictures are wider than a phone: {page.evaluate(TOO_WIDE)}")
    shoot(page, "phone-pictures")
    page.goto(station)
    tab_to("#note")
    page.keyboard.type("taken in with the keyboard <b>")
    tab_to("form[action$='/note'] button")
    enter("**/station/*#notes")
    expect("taken in with the keyboard <b>" in page.inner_text("#notes"), "the note is not shown")
    shoot(page, "phone-after-upload")
    # What is wrong is said on a page, and the way back leads on.
    page.go_back()
    page.goto(ADDRESS + "/job/yard.job/upload")
    page.fill("#name", "walk-2")
    page.set_input_files("#files", [__file__])
    page.click("button")
    expect("is no file of a capture" in page.inner_text("[role=alert]"), "a wrong file is not told")
    page.close()


def dark_and_on_paper(browser):
    context = browser.new_context(viewport=DESK, color_scheme="dark")
    page = context.new_page()
    page.goto(ADDRESS + "/job/yard.job")
    page.click("tbody th a")
    page.wait_for_url("**/run/*")
    ground = page.evaluate("() => getComputedStyle(document.body).backgroundColor")
    expect(sum(int(part) for part in ground.strip("rgb()").split(",")) < 200, f"not dark: {ground}")
    shoot(page, "dark-run")
    page.emulate_media(media="print", color_scheme="dark")
    ground = page.evaluate("() => getComputedStyle(document.body).backgroundColor")
    expect(ground == "rgb(255, 255, 255)", f"paper is not white: {ground}")
    shoot(page, "paper-run")
    context.close()


with sync_playwright() as player:
    browser = player.chromium.launch(executable_path=shutil.which("chromium"), args=FLAGS)
    pages = visit_all(browser)
    with_keys_alone(browser)
    dark_and_on_paper(browser)
    version = browser.version
    browser.close()
for fault in faults:
    print(fault)
print(f"{pages} pages in Chromium {version}: {len(faults)} faults")
sys.exit(bool(faults))
