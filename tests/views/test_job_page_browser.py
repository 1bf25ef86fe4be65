"""The job page in a real browser: layout, links between table and drawings, print, silence.

Chromium as Debian packages it, driven by playwright's Python package; skipped where either is
missing, with the reason.
"""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from nettrace.bench.report import report_job
from nettrace.loading import load
from nettrace.views.job_page import PAPERS, html_page
from nettrace.views.programs import print_page
from tests.views.job_cases import SEVEN, area_case, hostile_case, wren_case, wren_plate

pytestmark = pytest.mark.slow

#: What the page's width must hold: a desk, a tablet upright, a telephone.
WIDTHS = (1280, 800, 390)
#: Lit elements by kind of place: returns a sorted list of `where:part[:pad]`.
LIT = """() => [...document.querySelectorAll('.lit')].map((e) => {
  const svg = e.closest('svg');
  const where = svg ? (svg.id || 'photo') : (e.closest('section')?.id ?? '');
  return `${where}:${e.dataset.part ?? e.dataset.net}` + (e.dataset.pad ? `:${e.dataset.pad}` : '');
}).sort()"""
#: Text that sticks out of its own box or of the window, and cells that overlap in a row.
SPILLS = """() => {
  const wide = document.documentElement.clientWidth;
  const found = [];
  if (document.documentElement.scrollWidth > wide) found.push('the page scrolls sideways');
  for (const e of document.querySelectorAll('h1, h2, h3, p, li, th, td, dt, dd, caption, nav a')) {
    const box = e.getBoundingClientRect();
    if (!box.width || box.right < 0) continue;
    const words = `${e.tagName} ${e.textContent.trim().slice(0, 40)}`;
    if (box.right > wide + 1) found.push(`outside: ${words}`);
    if (e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== 'inline')
      found.push(`spills: ${words}`);
  }
  for (const row of document.querySelectorAll('tbody tr')) {
    const boxes = [...row.children].map((e) => [e, e.getBoundingClientRect()])
      .filter(([, b]) => b.width && b.height);
    for (let i = 0; i < boxes.length; i++) for (let j = i + 1; j < boxes.length; j++) {
      const [a, b] = [boxes[i][1], boxes[j][1]];
      const across = a.left < b.right - 1 && b.left < a.right - 1;
      if (across && a.top < b.bottom - 1 && b.top < a.bottom - 1)
        found.push(`overlap: ${boxes[i][0].textContent} / ${boxes[j][0].textContent}`);
    }
  }
  return found;
}"""


@dataclass
class Watched:
    """A page with what it said and asked for."""

    page: Any
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    program = shutil.which("chromium") or shutil.which("google-chrome")
    if program is None:
        pytest.skip("no chromium on the PATH (Debian: apt install chromium)")
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with api.sync_playwright() as driver:
        started = driver.chromium.launch(
            executable_path=program,
            args=["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"],
        )
        yield started
        started.close()


@pytest.fixture(scope="module")
def wren_html(wren: Path) -> str:
    case = wren_case(load(wren))
    plate = wren_plate(case.circuit)
    return html_page(report_job(case.circuit, case.job, case.state), plate)


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory, wren_html: str) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("sheets")
    case = hostile_case()
    texts = {
        "wren": wren_html,
        "hostile": html_page(report_job(case.circuit, case.job, case.state)),
    }
    for name, text in texts.items():
        (folder / f"{name}.html").write_text(text, encoding="utf-8")
    return {name: folder / f"{name}.html" for name in texts}


def opened(browser: Any, path: Path, width: int = 1280, **settings: Any) -> Watched:
    context = browser.new_context(viewport={"width": width, "height": 900}, **settings)
    watched = Watched(context.new_page())
    watched.page.on("console", lambda message: watched.said.append(message.text))
    watched.page.on("pageerror", lambda error: watched.said.append(str(error)))
    watched.page.on("dialog", lambda dialog: watched.said.append(f"dialog {dialog.message}"))
    watched.page.on("request", lambda request: watched.asked.append(request.url))
    watched.page.goto(path.as_uri())
    return watched


def leaving(watched: Watched, path: Path) -> list[str]:
    """Return the requests that leave the page: all but the page itself and what is in it."""
    own = path.as_uri()
    return [
        url
        for url in watched.asked
        if url.split("#")[0] != own and not url.startswith("data:image/")
    ]


@pytest.mark.parametrize("name", ["wren", "hostile"])
@pytest.mark.parametrize("width", WIDTHS)
def test_nothing_spills_overlaps_or_scrolls_sideways(
    browser: Any, sheets: dict[str, Path], width: int, name: str
) -> None:
    watched = opened(browser, sheets[name], width)
    try:
        assert watched.page.evaluate(SPILLS) == []
        assert watched.said == []
        assert leaving(watched, sheets[name]) == []
    finally:
        watched.page.context.close()


@pytest.mark.parametrize(
    ("name", "around", "radius_mm"), [("zswatch-devkit", "IC401", 6.0), ("teres-main", "U18", 6.0)]
)
def test_sheets_of_real_boards_keep_to_their_columns(
    browser: Any, boards: Path, tmp_path: Path, name: str, around: str, radius_mm: float
) -> None:
    case = area_case(load(boards / name), around, radius_mm)
    assert len(case.job.entries) >= 10
    path = tmp_path / "real.html"
    path.write_text(html_page(report_job(case.circuit, case.job, case.state)), encoding="utf-8")
    watched = opened(browser, path, 800)
    try:
        for width in WIDTHS:
            watched.page.set_viewport_size({"width": width, "height": 900})
            assert watched.page.evaluate(SPILLS) == []
        assert watched.said == []
    finally:
        watched.page.context.close()


def test_the_check_sees_what_spills(browser: Any, tmp_path: Path) -> None:
    path = tmp_path / "bad.html"
    path.write_text("<table><tbody><tr><td>" + "x" * 900 + "</td></tr></tbody></table>")
    watched = opened(browser, path, 390)
    assert watched.page.evaluate(SPILLS)
    watched.page.context.close()


@pytest.fixture(scope="module")
def desk(browser: Any, sheets: dict[str, Path]) -> Iterator[Watched]:
    watched = opened(browser, sheets["wren"])
    yield watched
    assert watched.said == []
    assert leaving(watched, sheets["wren"]) == []
    watched.page.context.close()


@pytest.fixture
def page(desk: Watched) -> Any:
    desk.page.evaluate("document.activeElement?.blur()")
    desk.page.keyboard.press("Escape")
    desk.page.mouse.move(1, 1)
    return desk.page


def places(lit: list[str]) -> set[str]:
    return {text.split(":")[0] for text in lit}


def test_a_row_under_the_pointer_is_marked_everywhere(page: Any) -> None:
    page.hover('#positions tbody[data-part="R13"] th')
    lit = page.evaluate(LIT)
    assert places(lit) == {
        "positions", "drawing-placed", "drawing-around", "photo", "loose", "order", "work",
        "measure",
    }  # fmt: skip
    assert {"positions:R13:R13.1", "positions:R13:R13.2", "photo:R13:R13.1"} <= set(lit)
    assert all("R13" in text for text in lit)


def test_a_balloon_in_the_drawing_marks_the_row(page: Any) -> None:
    page.hover("#drawing-placed a.balloon[data-part=D4] circle >> nth=1")
    assert "positions:D4" in page.evaluate(LIT)
    page.hover("svg.photo a.balloon[data-part=C7] circle")
    lit = page.evaluate(LIT)
    assert "positions:C7" in lit
    assert "positions:D4" not in lit


def test_a_pad_marks_itself_and_its_part_but_not_the_other_pad(page: Any) -> None:
    page.hover('svg.photo g.pad[data-pad="R12.2"]', force=True)
    lit = page.evaluate(LIT)
    assert "positions:R12:R12.2" in lit
    assert "positions:R12" in lit
    assert "drawing-placed:R12:R12.2" in lit
    assert not [text for text in lit if text.endswith("R12.1")]


def test_a_net_in_the_table_marks_it_in_the_graph(page: Any) -> None:
    page.hover('#positions [data-net="GAUGE_SDA"]')
    assert "drawing-around:GAUGE_SDA" in page.evaluate(LIT)
    nets = page.evaluate("[...document.querySelectorAll('.lit')].map((e) => e.dataset.net)")
    assert set(nets) == {"GAUGE_SDA"}


def test_the_keyboard_reaches_every_position_and_marks_it(page: Any) -> None:
    for number, key in enumerate(SEVEN, start=1):
        page.focus(f"#position-{number}")
        lit = page.evaluate(LIT)
        assert {f"positions:{key}"} <= set(lit)
        assert {"drawing-placed", "photo"} <= places(lit)


def test_the_keyboard_goes_from_table_to_drawing_and_back(page: Any) -> None:
    page.focus("#position-3")
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "drawing-placed-position-3"
    assert "positions:R14" in page.evaluate(LIT)
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "position-3"


def test_tab_visits_all_that_can_be_used_in_the_order_of_the_page(page: Any) -> None:
    page.focus(".skip")
    seen: list[str] = []
    last = -1
    for _ in range(400):
        page.keyboard.press("Tab")
        here = page.evaluate(
            "(() => { const e = document.activeElement; if (e === document.body) return null;"
            " const all = [...document.querySelectorAll('*')];"
            " return [e.id || e.dataset.pad || e.ariaLabel || e.textContent, all.indexOf(e)]; })()"
        )
        if here is None:
            break
        seen.append(here[0])
        assert here[1] > last, here[0]
        last = here[1]
    assert {f"position-{number}" for number in range(1, 8)} <= set(seen)
    assert {f"{key}.{pin}" for key in SEVEN for pin in "12"} <= set(seen)
    assert any(str(name).startswith("reading ") for name in seen)


def test_what_has_the_focus_can_be_seen(page: Any) -> None:
    page.keyboard.press("Tab")
    for name in ("#position-2", '#positions [data-pad="R16.1"]', "#measure input >> nth=0"):
        page.focus(name)
        page.keyboard.press("Shift+Tab")
        page.keyboard.press("Tab")
        style = page.evaluate(
            "(() => { const s = getComputedStyle(document.activeElement);"
            " return [s.outlineStyle, parseFloat(s.outlineWidth)]; })()"
        )
        assert style[0] == "solid"
        assert style[1] >= 2


def test_a_tap_holds_the_mark_until_the_next(browser: Any, sheets: dict[str, Path]) -> None:
    watched = opened(browser, sheets["wren"], 800, has_touch=True)
    try:
        watched.page.tap('#positions tbody[data-part="R15"] th')
        assert "positions:R15" in watched.page.evaluate(LIT)
        watched.page.tap('#positions tbody[data-part="C7"] th')
        lit = watched.page.evaluate(LIT)
        assert "positions:C7" in lit
        assert "positions:R15" not in lit
    finally:
        watched.page.context.close()


def test_a_screen_reader_finds_tables_with_heads_even_as_cards(
    browser: Any, sheets: dict[str, Path]
) -> None:
    for width in (1280, 390):
        watched = opened(browser, sheets["wren"], width)
        tree = watched.page.locator("#positions").aria_snapshot()
        assert 'table "Marked positions, by their number in the drawings"' in tree
        assert 'rowheader "R12"' in tree
        assert re.search(r'columnheader "Without it"', tree)
        assert 'link "Position 1, R12: show in the drawing"' in tree
        whole = watched.page.locator("body").aria_snapshot()
        for landmark in ("banner", "navigation", "main", "contentinfo"):
            assert re.search(rf"- {landmark}", whole), landmark
        watched.page.context.close()


def contrast(page: Any, selector: str) -> float:
    """Return the contrast of text on the page's ground (WCAG 2.2, relative luminance)."""
    found = page.evaluate(
        """(selector) => {
          const numbers = (text) => text.match(/[\\d.]+/g).map(Number);
          const ground = numbers(getComputedStyle(document.body).backgroundColor);
          return [numbers(getComputedStyle(document.querySelector(selector)).color), ground];
        }""",
        selector,
    )

    def luminance(colour: list[float]) -> float:
        parts = [c / 255 for c in colour[:3]]
        linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
        return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]

    light, dark = sorted((luminance(colour) for colour in found), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_text_stands_out_from_its_ground(
    browser: Any, sheets: dict[str, Path], scheme: str
) -> None:
    watched = opened(browser, sheets["wren"], color_scheme=scheme)
    try:
        assert contrast(watched.page, "h1") >= 7  # WCAG 2.2, 1.4.6 (AAA)
        assert contrast(watched.page, ".quiet") >= 4.5  # 1.4.3 (AA)
        ground = watched.page.evaluate("getComputedStyle(document.body).backgroundColor")
        red, green, blue = (int(part) for part in re.findall(r"\d+", ground)[:3])
        if scheme == "dark":
            assert 30 < red < 90  # dim, not black
            assert red > green > blue  # warm, as paper under a lamp
        else:
            assert red > 240
    finally:
        watched.page.context.close()


def test_with_the_script_off_the_sheet_says_the_same(browser: Any, sheets: dict[str, Path]) -> None:
    watched = opened(browser, sheets["wren"], java_script_enabled=False)
    watched.page.click("#position-5")
    assert watched.page.url.endswith("#drawing-placed-position-5")
    assert watched.page.locator("#positions tbody").count() == 7
    watched.page.context.close()


def test_the_policy_stops_what_would_load_or_run(browser: Any, sheets: dict[str, Path]) -> None:
    watched = opened(browser, sheets["wren"])
    watched.page.evaluate(
        """() => {
          const image = new Image(); image.src = 'http://127.0.0.1:9/x.png';
          document.body.append(image);
          const script = document.createElement('script');
          script.textContent = 'window.ran = 1'; document.body.append(script);
        }"""
    )
    watched.page.wait_for_timeout(100)
    assert watched.page.evaluate("window.ran") is None
    assert len([text for text in watched.said if "Content Security Policy" in text]) == 2
    watched.page.context.close()


def test_hostile_names_run_nothing_and_still_work(browser: Any, sheets: dict[str, Path]) -> None:
    watched = opened(browser, sheets["hostile"])
    watched.page.focus("#position-1")
    lit = watched.page.evaluate(LIT)
    assert {"positions", "drawing-placed", "drawing-around"} <= places(lit)
    assert watched.said == []
    watched.page.context.close()


def pdf_facts(path: Path) -> tuple[int, set[tuple[int, int]], str]:
    """Return pages, sizes in points and text of a PDF, as poppler reads them."""
    if shutil.which("pdfinfo") is None or shutil.which("pdftotext") is None:
        pytest.skip("no pdfinfo and pdftotext (Debian: apt install poppler-utils)")
    info = subprocess.run(
        ["pdfinfo", "-l", "99", str(path)], capture_output=True, text=True, check=True
    ).stdout
    pages = int(re.findall(r"Pages:\s+(\d+)", info)[0])
    sizes = {
        (round(float(a)), round(float(b)))
        for a, b in re.findall(r"size:\s+([\d.]+) x ([\d.]+)", info)
    }
    text = subprocess.run(
        ["pdftotext", "-layout", str(path), "-"], capture_output=True, text=True, check=True
    ).stdout
    return pages, sizes, text


@pytest.mark.parametrize(
    ("paper", "size"), [("A4", {(595, 842), (842, 595)}), ("Letter", {(612, 792), (792, 612)})]
)
def test_it_prints_on_both_papers(
    browser: Any, wren_html: str, tmp_path: Path, paper: str, size: set[tuple[int, int]]
) -> None:
    page, path = tmp_path / "sheet.html", tmp_path / "sheet.pdf"
    made = wren_html.replace("size: A4", f"size: {PAPERS[paper.casefold()]}")
    page.write_text(made, encoding="utf-8")
    watched = opened(browser, page)
    # the printer holds the other paper: the page says which it was made for
    other = "Letter" if paper == "A4" else "A4"
    watched.page.pdf(path=str(path), format=other, prefer_css_page_size=True)
    watched.page.close()
    pages, sizes, text = pdf_facts(path)
    assert 3 <= pages <= 12
    for wide, high in sizes:  # a point of rounding
        assert any(abs(wide - a) <= 1 and abs(high - b) <= 1 for a, b in size)
    for key in SEVEN:
        assert key in text
    assert "Checked by" in text
    assert re.search(rf"\b{pages} ?/ ?{pages}\b", text)


def test_our_own_print_gives_the_whole_sheet(wren_html: str, tmp_path: Path) -> None:
    if shutil.which("chromium") is None:
        pytest.skip("no chromium on the PATH (Debian: apt install chromium)")
    path = tmp_path / "sheet.pdf"
    path.write_bytes(print_page(wren_html))
    pages, _, text = pdf_facts(path)
    assert pages >= 3
    assert "Order of work" in text
    assert "file://" not in text
