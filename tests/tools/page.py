"""Looks at a season report as people do: on a phone and on a desk, in light and in dark.

Checks that the page is quiet (no error, nothing fetched), fits the width, has its sections filled, can be read
(contrast of every text against what is behind it, after WCAG 2.1, 1.4.3), and says in words what each picture shows.
"""

import argparse
import pathlib
import sys

from browser import chromium

SCREENS = [("phone", 390, 844, True), ("desk", 1280, 800, False)]
SCHEMES = ["light", "dark"]

# A phone zooms out on a page that is too wide, so the screen's width is ours to say.
WIDTHS = """(screenWidth => {
  const page = document.scrollingElement;
  const wide = [...document.body.querySelectorAll('*')].filter(e => {
    if (e.closest('svg') && e.tagName !== 'svg') return false;
    for (let p = e.parentElement; p && p !== document.body; p = p.parentElement)
      if (['auto', 'scroll', 'hidden'].includes(getComputedStyle(p).overflowX)) return false;
    return e.getBoundingClientRect().right > screenWidth + 0.5;
  });
  return {page: page.scrollWidth,
          wide: wide.slice(0, 3).map(e => `${e.tagName.toLowerCase()}#${e.id}.${e.getAttribute('class') || ''}`)};
})"""

SECTIONS = """[...document.querySelectorAll('section h2[id]')].map(h => [h, h.closest('section')]).map(([h, s]) => ({
  id: h.id, heading: h.innerText.trim(), height: s.getBoundingClientRect().height,
  words: s.innerText.trim().split(/\\s+/).length}))"""

BROKEN_LINKS = """[...document.querySelectorAll('a[href^="#"]')].map(a => a.getAttribute('href').slice(1))
  .filter(id => id && !document.getElementById(decodeURIComponent(id)))"""

SILENT_PICTURES = """[...document.querySelectorAll('svg')].filter(s => !s.closest('[aria-hidden="true"]')
  && !(s.getAttribute('aria-label') || s.getAttribute('aria-labelledby') || s.querySelector(':scope > title')))
  .map(s => (s.closest('section') || {id: ''}).id)"""

FAINT_TEXT = """(() => {
  const canvas = document.createElement('canvas').getContext('2d', {willReadFrequently: true});
  const rgba = css => { canvas.clearRect(0, 0, 1, 1); canvas.fillStyle = css; canvas.fillRect(0, 0, 1, 1);
    return [...canvas.getImageData(0, 0, 1, 1).data]; };
  const light = c => { const [r, g, b] = c.slice(0, 3).map(v => v / 255)
    .map(v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    return 0.2126 * r + 0.7152 * g + 0.0722 * b; };
  const behind = e => { for (let p = e; p; p = p.parentElement) {
    const c = rgba(getComputedStyle(p).backgroundColor); if (c[3] > 200) return c; } return [255, 255, 255, 255]; };
  const faint = [];
  for (const e of document.body.querySelectorAll('*')) {
    if (![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
    if (['SCRIPT', 'STYLE', 'TITLE', 'DESC'].includes(e.tagName.toUpperCase())) continue;
    if (!e.checkVisibility({visibilityProperty: true, contentVisibilityAuto: true})) continue;
    const style = getComputedStyle(e), inside = e.closest('svg');
    const [a, b] = [light(rgba(inside ? style.fill : style.color)), light(behind(inside || e))].sort((x, y) => y - x);
    const ratio = (a + 0.05) / (b + 0.05), size = parseFloat(style.fontSize);
    if (ratio < (size >= 24 ? 3 : 4.5)) faint.push(`${ratio.toFixed(1)}: ${e.textContent.trim().slice(0, 40)}`);
  }
  return faint;
})()"""


def noises(events):
    """Errors, warnings about the page, and everything it tried to fetch."""
    for event in events:
        method, params = event.get("method"), event.get("params", {})
        if method == "Runtime.exceptionThrown":
            yield f"exception: {params['exceptionDetails'].get('text')}"
        elif method == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning", "assert"):
            yield f"console: {params['args']}"
        elif method == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
            yield f"log: {params['entry']['text']}"
        elif method == "Network.requestWillBeSent" and not params["request"]["url"].startswith(("file:", "data:")):
            yield f"fetches {params['request']['url'][:100]}"


def complaints(page, width, wanted):
    """All that is wrong with the page as it now stands."""
    yield from noises(page.events)
    widths = page.evaluate(f"{WIDTHS}({width})")
    if widths["page"] > width or widths["wide"]:
        yield f"{widths['page']} px wide on a screen of {width}; beyond the edge: {widths['wide']}"
    sections = {s["id"]: s for s in page.evaluate(SECTIONS)}
    if missing := [name for name in wanted if name not in sections]:
        yield f"no section {missing}; there are {list(sections)}"
    for name, section in sections.items():
        if not section["heading"] or section["height"] < 40 or section["words"] < 8:
            yield f"section {name} is empty: {section}"
    if broken := page.evaluate(BROKEN_LINKS):
        yield f"links to nowhere: {broken}"
    if silent := page.evaluate(SILENT_PICTURES):
        yield f"pictures without words, in sections {silent}"
    if faint := page.evaluate(FAINT_TEXT):
        yield f"{len(faint)} texts are hard to read, contrast {faint[:5]}"


def main():
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--browser", required=True)
    parser.add_argument("--pictures", type=pathlib.Path, required=True, help="folder for screen pictures")
    parser.add_argument("--sections", default="", help="ids that must be there, split by commas")
    parser.add_argument("page", type=pathlib.Path)
    arguments = parser.parse_args()
    arguments.pictures.mkdir(parents=True, exist_ok=True)
    wanted = [name for name in arguments.sections.split(",") if name]
    passed = failed = 0
    grounds = set()
    with chromium(arguments.browser) as page:
        for name, width, height, phone in SCREENS:
            for scheme in SCHEMES:
                page.open(arguments.page.absolute().as_uri(), width, height, phone, scheme)
                wrong = list(complaints(page, width, wanted))
                grounds.add(page.evaluate("getComputedStyle(document.body).backgroundColor"))
                page.picture(arguments.pictures / f"{name}-{scheme}.png", whole=True)
                passed, failed = passed + (not wrong), failed + bool(wrong)
                for what in wrong:
                    print(f"FAIL {name} {width} px, {scheme}: {what}")
                if not wrong:
                    print(f"ok   {name} {width} px, {scheme}")
    if len(grounds) < 2:
        failed += 1
        print(f"FAIL light and dark have one background: {grounds}")
    print(f"report: {passed} passed, {failed} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
