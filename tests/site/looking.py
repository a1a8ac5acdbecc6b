"""What is wrong with a page as it stands in the browser: widths, clipped text, small targets, focus, accessibility."""

from pathlib import Path

from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from playwright.sync_api import Page

SHOTS = settings.BASE_DIR / ".shots"
PHONE, LAPTOP = {"width": 390, "height": 844}, {"width": 1366, "height": 800}
SIZES = {"phone": PHONE, "laptop": LAPTOP}
#: The laptop at 200 % zoom: half as many CSS pixels each way (WCAG 2.2, 1.4.4).
ZOOMED = {"width": 683, "height": 400}
THEMES = ("light", "dark")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]

#: Sizes in CSS pixels. A link inside a sentence is excepted as in WCAG 2.2, 2.5.8 ("Inline"); everything else that
#: can be tapped measures 44 each way, which is 2.5.5 (enhanced). A box to tick is tapped by its label.
FAULTS = """
() => {
  const faults = [];
  const name = (element) => `<${element.tagName.toLowerCase()}${element.id ? "#" + element.id : ""}${
    element.classList.length ? "." + [...element.classList].join(".") : ""}> “${
    (element.innerText || element.value || element.getAttribute("aria-label") || "").trim().slice(0, 40)}”`;
  const root = document.documentElement;
  if (root.scrollWidth > root.clientWidth + 1) {
    const wide = [...document.body.querySelectorAll("*")]
      .filter((element) => element.getBoundingClientRect().right > root.clientWidth + 1
        && !element.closest(".ledger-wrap, .rooms ul, .offscreen")).map(name).slice(0, 3);
    faults.push(`${root.scrollWidth - root.clientWidth} px wider than the screen: ${wide.join(", ")}`);
  }
  for (const element of document.body.querySelectorAll("*")) {
    const style = getComputedStyle(element);
    const box = element.getBoundingClientRect();
    if (!["hidden", "clip"].includes(style.overflowX) || box.width <= 1 || element.closest("svg")
      || element.tagName === "INPUT") continue;
    if (element.scrollWidth > element.clientWidth + 1) faults.push(`clipped: ${name(element)}`);
  }
  const room = document.querySelector(".rooms [aria-current]")?.getBoundingClientRect();
  if (room && (room.left < 0 || room.right > root.clientWidth)) faults.push("the open room is out of sight");
  const inSentence = (link) => {
    if (link.tagName !== "A" || getComputedStyle(link).display !== "inline") return false;
    const around = link.parentElement.cloneNode(true);
    around.querySelectorAll("a").forEach((other) => other.remove());
    return around.textContent.trim().length > 1;
  };
  const tapped = "a[href], button, input:not([type=hidden]), select, textarea, summary, [role=button]";
  for (const element of document.querySelectorAll(tapped)) {
    let target = element;
    if (["checkbox", "radio"].includes(element.type)) {
      target = element.closest("label") || document.querySelector(`label[for="${element.id}"]`) || element;
    }
    const box = target.getBoundingClientRect();
    const hidden = !element.checkVisibility({ visibilityProperty: true, contentVisibilityAuto: true });
    if (hidden || box.width <= 1 || box.right < 0 || inSentence(element)) continue;
    if (box.height < 43.5 || box.width < 43.5) {
      faults.push(`small target ${Math.round(box.width)} × ${Math.round(box.height)}: ${name(element)}`);
    }
  }
  return faults;
}
"""

#: Whether the keyboard's place can be seen (WCAG 2.2, 2.4.7), on everything that the Tab key reaches, and is not hidden
#: behind what stays in place while the page scrolls (2.4.11).
UNSEEN = """
() => {
  const faults = [];
  const before = document.activeElement;
  const reached = "a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex='0']";
  for (const element of document.querySelectorAll(reached)) {
    if (element.disabled || element.tabIndex < 0 || !element.checkVisibility({ visibilityProperty: true })) continue;
    element.focus();
    const style = getComputedStyle(element);
    const text = (element.innerText || element.name || "").trim().slice(0, 40);
    const name = `<${element.tagName.toLowerCase()}> “${text}”`;
    if (document.activeElement !== element) continue;
    if (style.outlineStyle === "none" || parseFloat(style.outlineWidth) < 2) faults.push(`focus is not seen: ${name}`);
    const box = element.getBoundingClientRect();
    const [x, y] = [box.left + box.width / 2, box.top + Math.min(box.height, 40) / 2];
    const top = document.elementFromPoint(x, y);
    if (!top || element.contains(top) || top.contains(element) || top.closest("label")) continue;
    const cover = top.closest("th, header, footer, nav, div") || top;
    if (["fixed", "sticky"].includes(getComputedStyle(cover).position)) {
      faults.push(`focus is hidden behind <${cover.tagName.toLowerCase()}>: ${name}`);
    }
  }
  before?.focus?.();
  return faults;
}
"""


def faults_of(page: Page, name: str) -> list[str]:
    """Everything wrong with the loaded page at both sizes and in both themes; its pictures go to .shots/."""
    SHOTS.mkdir(exist_ok=True)
    found: dict[str, None] = {}
    for size, viewport in SIZES.items():
        page.set_viewport_size(viewport)
        for theme in THEMES:
            page.emulate_media(color_scheme=theme)
            page.screenshot(path=SHOTS / f"{name}-{size}-{theme}.png", full_page=True)
            if theme == "light":
                for fault in page.evaluate(FAULTS):
                    found.setdefault(f"{name}: {fault}")
            for fault in axe_faults(page):
                found.setdefault(f"{name}, {size}, {theme}: {fault}")
    page.set_viewport_size(ZOOMED)
    for fault in page.evaluate(FAULTS):
        found.setdefault(f"{name}, zoomed to 200 %: {fault}")
    page.set_viewport_size(LAPTOP)
    page.keyboard.press("Shift")  # from here on the browser takes the person for one at the keyboard
    for fault in page.evaluate(UNSEEN):
        found.setdefault(f"{name}: {fault}")
    return list(found)


#: Axe's answer holds every node of the page; only what is wrong leaves the browser, which is four times as fast.
AXE = """
options => axe.run(document, options).then(answer => answer.violations.map(
  violation => `${violation.id}: ${violation.help} (${
    violation.nodes.slice(0, 3).map(node => node.html.slice(0, 120)).join("; ")})`))
"""


def axe_faults(page: Page) -> list[str]:
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(Axe().axe_script)
    options = {"runOnly": {"type": "tag", "values": RULES}, "resultTypes": ["violations"]}
    found: list[str] = page.evaluate(AXE, options)
    return found


def clear_shots(folder: Path = SHOTS) -> None:
    for picture in folder.glob("*.png"):
        picture.unlink()
