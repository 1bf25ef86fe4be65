"""The job page as text: everything in it, nothing of a file's names as markup, all links whole."""

from __future__ import annotations

import base64
import hashlib
import math
import re
import zlib
from collections import Counter
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

import lxml.html
import pytest
from hypothesis import given
from hypothesis import strategies as st

from nettrace.bench.report import JobReport, report_job
from nettrace.errors import BadInput
from nettrace.loading import load
from nettrace.views import programs
from nettrace.views.drawing import el, embed_svg, safe_text
from nettrace.views.job_page import html_page, markdown_page
from nettrace.views.photo import photo_svg, read_photo
from nettrace.views.programs import CannotDraw, print_page
from tests.views.html_select import select
from tests.views.job_cases import SEVEN, Case, hostile_case, jpeg, wren_case, wren_plate


@pytest.fixture(scope="module")
def case(wren: Path) -> Case:
    return wren_case(load(wren))


@pytest.fixture(scope="module")
def made(case: Case) -> JobReport:
    return report_job(case.circuit, case.job, case.state)


@pytest.fixture(scope="module")
def html(made: JobReport) -> str:
    return html_page(made, wren_plate(made.circuit))


@pytest.fixture(scope="module")
def page(html: str) -> Any:
    return lxml.html.document_fromstring(html)


@pytest.fixture(scope="module")
def hostile() -> JobReport:
    case = hostile_case()
    return report_job(case.circuit, case.job, case.state)


def words(element: Any) -> str:
    return " ".join(str(element.text_content()).split())


# -- what is in it ------------------------------------------------------------------------------


def test_every_position_has_a_row_with_its_facts(page: Any) -> None:
    # the facts are those of samples/source/facts.toml, written by hand
    rows = {row.get("data-part"): words(row) for row in select(page, "#positions tbody")}
    assert tuple(rows) == SEVEN
    assert "2.2 kΩ" in rows["R12"]
    assert "0201" in rows["R12"]
    assert "GAUGE_SDA" in rows["R12"]
    assert "1.8 V" in rows["R12"]
    assert "pull-up" in rows["R12"]
    assert "blocks" in rows["R12"]
    assert "thermistor bias" in rows["R14"]
    assert "refitted with L2" in rows["R14"]
    assert "01005" in rows["R16"]
    assert "BAT_NTC" in rows["D4"]


def test_the_sections_are_there_in_the_order_of_work(page: Any) -> None:
    assert [section.get("id") for section in select(page, "main > section")] == [
        "glance", "where", "positions", "around", "loose", "order", "work", "measure", "readings",
        "verdict",
    ]  # fmt: skip


def test_numbers_are_the_same_in_table_drawing_graph_and_photo(page: Any) -> None:
    expected = dict(zip(SEVEN, range(1, 8), strict=True))
    in_table = {
        row.get("data-part"): int(words(select(row, "a.number")[0]))
        for row in select(page, "#positions tbody")
    }
    in_photo = {
        link.get("data-part"): int(words(select(link, "text")[0]))
        for link in select(page, "svg.photo a.balloon")
    }
    placed = {
        link.get("data-part"): int(words(select(link, "text")[0]))
        for link in select(page, "#drawing-placed a.balloon")
    }
    assert in_table == in_photo == placed == expected
    graph = {}
    for link in select(page, "#drawing-around a.balloon"):
        number = int(str(link.get("href")).removeprefix("#position-"))
        assert str(number) in [words(text) for text in select(link, "text")]
        graph[link.get("data-part")] = number
    assert graph == expected


def test_order_lists_what_is_open_and_not_what_was_refitted(page: Any) -> None:
    order = words(select(page, "#order")[0])
    assert "2.2 kΩ" in order
    assert "100 nF" in order
    assert "R14" not in order


def test_the_whole_proof_is_listed_before_the_work_is_done(page: Any, made: JobReport) -> None:
    touched = {place for each in made.probes for place in (each.probe.at, each.probe.to)}
    assert all({f"{key}.1", f"{key}.2"} & touched for key in SEVEN)
    inputs = select(page, "#measure input[type=text]")
    assert len(inputs) == sum(1 for each in made.probes if each.reading is None)
    assert all(str(each.get("aria-label")).startswith("reading ") for each in inputs)


def test_a_reading_that_was_entered_stands_in_its_line(page: Any) -> None:
    (row,) = [
        row
        for row in select(page, "#measure tbody tr")
        if "9.98 kΩ" in words(row) and "R14.1" in words(row)
    ]
    assert "pass" in words(row)
    assert not select(row, "input")


def test_cautions_and_governing_documents_come_with_the_work(page: Any) -> None:
    work = words(select(page, "#work")[0])
    assert "Local rules and licensed practice come first" in work
    assert "IPC-7711/7721" in work
    assert "J-STD-001" in work


def test_the_verdict_is_ticked_once_and_there_is_room_to_sign(page: Any) -> None:
    (chosen,) = select(page, "#verdict .chosen")
    assert "not restored" in words(chosen)
    assert "Checked by" in words(select(page, "footer")[0])


def test_a_job_with_nothing_marked_still_makes_a_sheet(case: Case) -> None:
    from msgspec.structs import replace

    from nettrace.bench.job import fold

    empty = replace(case.job, entries=())
    made = report_job(case.circuit, empty, fold(empty))
    assert made.check is None
    text = html_page(made)
    assert "No position is marked yet" in text
    assert "No position is marked yet" in markdown_page(made)


def test_a_netlist_without_places_says_why_there_is_no_drawing(wren: Path, case: Case) -> None:
    circuit = load(wren / "wren.net")
    made = report_job(circuit, case.job, case.state)
    text = html_page(made)
    assert 'id="drawing-around"' in text
    assert 'id="drawing-placed"' not in text
    assert "no drawing to scale" in text


def test_without_graphviz_the_sheet_is_made_and_says_so(
    case: Case, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("nettrace.views.programs.PROGRAMS", ())
    made = report_job(case.circuit, case.job, case.state)
    text = html_page(made)
    assert 'id="drawing-placed"' in text
    assert 'id="drawing-around"' not in text
    assert "no drawing of what they are tied to" in text


def test_the_same_job_gives_the_same_page(case: Case, html: str) -> None:
    again = report_job(case.circuit, case.job, case.state)
    assert html_page(again, wren_plate(case.circuit)) == html


# -- whole, and for everyone --------------------------------------------------------------------


def parsed_page(text: str) -> Any:
    return lxml.html.document_fromstring(text)


def both(html: str, hostile: JobReport) -> list[Any]:
    return [parsed_page(text) for text in (html, html_page(hostile))]


def test_ids_are_unique_and_every_link_leads_somewhere(html: str, hostile: JobReport) -> None:
    for page in both(html, hostile):
        ids = Counter(page.xpath("//@id"))
        assert [name for name, times in ids.items() if times > 1] == []
        links = page.xpath("//a/@href")
        assert links
        assert {str(link)[1:] for link in links} <= set(ids)
        assert all(str(link).startswith("#") for link in links)


def test_landmarks_headings_and_labels_for_a_screen_reader(page: Any) -> None:
    assert page.get("lang") == "en"
    assert len(select(page, "main")) == len(select(page, "nav")) == 1
    assert len(select(page, "header")) == len(select(page, "footer")) == 1
    assert len(select(page, "h1")) == 1
    levels = [int(tag.tag[1]) for tag in page.iter("h1", "h2", "h3")]
    assert all(b - a <= 1 for a, b in pairwise(levels))
    for table in select(page, "table"):
        assert select(table, "caption")
        assert all(head.get("scope") for head in select(table, "th"))
        columns = len(select(table, "thead th"))
        for row in table.xpath("./tbody/tr[1]"):
            assert sum(int(cell.get("colspan", "1")) for cell in row) == columns
    assert all(svg.get("aria-label") for svg in select(page, "svg"))
    assert all(field.get("aria-label") for field in select(page, "input"))
    assert all(link.get("aria-label") for link in select(page, "svg a"))


def tags_balance(text: str) -> bool:
    """Return whether every element that is opened is closed, in order."""
    from html.parser import HTMLParser

    stack: list[str] = []
    wrong: list[str] = []

    class Reader(HTMLParser):
        def handle_starttag(self, tag: str, _: object) -> None:
            stack.append(tag)

        def handle_endtag(self, tag: str) -> None:
            if not stack or stack.pop() != tag:
                wrong.append(tag)

        def handle_startendtag(self, tag: str, _: object) -> None:
            pass

    Reader().feed(text)
    return not stack and not wrong


def test_every_element_is_closed(html: str, hostile: JobReport) -> None:
    assert tags_balance(html)
    assert tags_balance(html_page(hostile))
    assert not tags_balance("<p><b></p></b>")


# -- nothing runs, nothing loads ----------------------------------------------------------------


def test_the_policy_lets_our_script_run_and_nothing_load(html: str, page: Any) -> None:
    policy = page.xpath("//meta[@http-equiv='Content-Security-Policy']/@content")[0]
    (script,) = re.findall(r"<script>(.*?)</script>", html, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    assert f"script-src 'sha256-{digest}'" in policy
    assert policy.startswith("default-src 'none'; img-src data:;")
    # the policy stands before anything that it rules
    assert html.index("Content-Security-Policy") < html.index("<style")


def test_no_name_of_a_file_becomes_markup(hostile: JobReport) -> None:
    text = html_page(hostile)
    page = parsed_page(text)
    assert len(page.xpath("//script")) == 1
    assert page.xpath("//img | //i | //iframe | //object") == []
    assert [name for name in page.xpath("//@*") if name.attrname.startswith("on")] == []
    assert "\x1b" not in text
    titles = words(select(page, "h1")[0])
    assert "<script>alert(1)</script>" in titles  # shown as what it is


def test_nothing_is_loaded_from_anywhere(html: str, hostile: JobReport) -> None:
    for page in both(html, hostile):
        sources = page.xpath("//@src | //@srcset | //link/@href | //image/@href | //use/@href")
        assert all(str(source).startswith("data:image/") for source in sources)
        assert "@import" not in "".join(page.xpath("//style/text()"))
        assert "url(http" not in "".join(page.xpath("//style/text()"))


@given(st.text(max_size=30), st.text(max_size=30))
def test_any_text_comes_back_from_an_element_as_it_was(text: str, value: str) -> None:
    element = lxml.html.fragment_fromstring(el("p", text, data_x=value))
    assert len(element) == 0
    # lxml normalises line ends as HTML asks for; controls were made visible before
    assert (element.text or "") == safe_text(text)
    assert element.get("data-x") == safe_text(value)


# -- drawings in the page -----------------------------------------------------------------------

SVG = """<?xml version="1.0"?><!DOCTYPE svg>
<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"
 width="40mm" height="20mm" viewBox="0 0 40 20">
<g class="node" id="n1"><title>p0</title><g><a xlink:title="10 k"><rect/></a></g></g>
<g class="part" data-part="R1"><rect/></g>
<g class="balloon" data-part="R1"><circle r="1"/></g>
</svg>"""


def test_an_embedded_drawing_has_names_of_its_own_and_leads_to_the_table() -> None:
    text = embed_svg(SVG, "d", "label", parts={"p0": "R7"}, numbers={"R1": 3})
    root = lxml.html.fragment_fromstring(text)
    assert "xlink" not in text
    assert "p0" not in text
    assert root.get("aria-label") == "label"
    (node,) = select(root, ".node")
    assert (node.get("id"), node.get("data-part"), words(node)) == ("d-n1", "R7", "10 k")
    (link,) = select(root, "a.balloon")
    assert (link.get("href"), link.get("id")) == ("#position-3", "d-position-3")
    assert [child.get("class") for child in link] == ["balloon"]


# -- the photo ----------------------------------------------------------------------------------


def test_marks_on_the_photo_stand_where_the_pads_are(case: Case) -> None:
    plate = wren_plate(case.circuit)
    svg = lxml.html.fragment_fromstring(photo_svg(plate, case.circuit, {"R16": 1}))
    for pad in case.circuit.board.part_by_key["R16"].pads:
        (mark,) = select(svg, f'g.pad[data-pad="R16.{pad.number}"]')
        points = [
            tuple(map(float, pair.split(",")))
            for pair in str(select(mark, "polygon.over")[0].get("points")).split()
        ]
        middle = plate.map.to_px(pad.x, pad.y)
        assert middle is not None
        for axis in (0, 1):
            mean = sum(point[axis] for point in points) / len(points)
            assert mean == pytest.approx(middle[axis], abs=0.2)
        # 30 degrees and 60 px/mm: the outline has the pad's own size
        angle = math.radians(30)
        along = [x * math.cos(angle) - y * math.sin(angle) for x, y in points]
        assert pad.width is not None
        assert max(along) - min(along) == pytest.approx(60 * pad.width, rel=0.02)


def test_labels_on_the_photo_do_not_overlap(case: Case) -> None:
    numbers = {key: number for number, key in enumerate(SEVEN, start=1)}
    svg = lxml.html.fragment_fromstring(photo_svg(wren_plate(case.circuit), case.circuit, numbers))
    boxes = []
    for text in select(svg, "text"):
        size, shown = float(text.get("font-size")), words(text)
        x, y = float(text.get("x")), float(text.get("y")) - 0.35 * size
        wide = len(shown) * size * 0.56  # Arial's mean, from memory
        boxes.append((x - wide / 2, y - size / 2, x + wide / 2, y + size / 2, shown))
    assert len(boxes) == 21  # seven numbers, fourteen pads
    for one, other in combinations(boxes, 2):
        apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
        assert apart, f"{one[4]} and {other[4]}"


def test_the_fit_and_its_doubts_are_said_below_the_photo(page: Any) -> None:
    caption = words(select(page, "figure.photo figcaption")[0])
    assert "affine map from 5 known pads" in caption
    assert "60.0 px/mm" in caption
    assert "J3.1: 0.0 px" in caption


@pytest.mark.parametrize("orientation", [None, *range(1, 9)])
def test_a_photo_is_as_large_as_it_is_seen_upright(orientation: int | None, tmp_path: Path) -> None:
    path = tmp_path / "p.jpg"
    path.write_bytes(jpeg(90, 40, orientation))
    photo = read_photo(path)
    # Exif 2.3, table 6: from 5 on the picture lies on its side
    is_turned = orientation is not None and orientation >= 5
    assert (photo.width_px, photo.height_px) == ((40, 90) if is_turned else (90, 40))


def test_a_photo_is_turned_shrunk_and_rid_of_the_cameras_notes(tmp_path: Path) -> None:
    import io

    from PIL import Image

    path = tmp_path / "p.jpg"
    path.write_bytes(jpeg(3000, 2000, 6))
    photo = read_photo(path)
    with Image.open(io.BytesIO(photo.data)) as made:
        assert made.size == (1600, 2400)
        assert not made.getexif()
        top, bottom = made.getpixel((800, 300)), made.getpixel((800, 2100))
    # orientation 6: the stored left edge is shown on top (Exif 2.3, table 6)
    assert isinstance(top, tuple)
    assert isinstance(bottom, tuple)
    assert top[0] < 100
    assert bottom[0] > 200
    assert (photo.width_px, photo.height_px) == (2000, 3000)  # pixels as pointed at
    assert b"the owner" not in photo.data


def test_a_png_with_a_bad_name_is_read_by_its_content(tmp_path: Path) -> None:
    from PIL import Image

    path = tmp_path / "p.jpg"
    Image.new("RGBA", (70, 30), (9, 9, 9, 128)).save(path, "PNG")
    photo = read_photo(path)
    assert (photo.media_type, photo.width_px, photo.height_px) == ("image/png", 70, 30)


def test_without_pillow_it_is_said_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "p.jpg"
    path.write_bytes(jpeg(90, 40, 6))
    monkeypatch.setitem(__import__("sys").modules, "PIL", None)
    with pytest.raises(BadInput, match="pillow") as error:
        read_photo(path)
    assert "nettrace[photo]" in error.value.hint


@pytest.mark.parametrize("start", [b"", b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"])
@given(tail=st.binary(max_size=60))
def test_any_bytes_are_a_photo_or_refused(
    start: bytes, tail: bytes, tmp_path_factory: pytest.TempPathFactory
) -> None:
    path = tmp_path_factory.mktemp("photo") / "p.jpg"
    path.write_bytes(start + tail)
    with pytest.raises(BadInput) as error:
        read_photo(path)
    assert error.value.place is not None


def test_a_damaged_or_huge_photo_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "p.jpg"
    path.write_bytes(jpeg(200, 100)[:700])
    with pytest.raises(BadInput, match="damaged photo"):
        read_photo(path)
    huge = b"\x89PNG\r\n\x1a\n"
    for kind, body in ((b"IHDR", (60_000).to_bytes(4) * 2 + b"\1\0\0\0\0"), (b"IDAT", b"")):
        check = zlib.crc32(kind + body).to_bytes(4)
        huge += len(body).to_bytes(4) + kind + body + check
    path.write_bytes(huge)
    with pytest.raises(BadInput, match="too large a photo"):
        read_photo(path)
    with pytest.raises(BadInput, match="cannot open"):
        read_photo(tmp_path / "none.jpg")


# -- Markdown and print -------------------------------------------------------------------------


def parsed(text: str) -> Any:
    """Return the Markdown as HTML, by markdown-it: CommonMark with tables."""
    from markdown_it import MarkdownIt

    return lxml.html.document_fromstring(MarkdownIt("commonmark").enable("table").render(text))


def test_markdown_says_the_same_as_the_page(made: JobReport, page: Any) -> None:
    other = parsed(markdown_page(made))
    titles = [words(head) for head in select(other, "h2")]
    assert titles == [
        "At a glance", "Positions", "Loose parts", "To order", "Order of work", "To measure",
        "Readings so far", "Verdict",
    ]  # fmt: skip
    for table in select(other, "table"):
        columns = len(select(table, "thead th"))
        assert all(len(row) == columns for row in select(table, "tr"))
    text = words(other)
    for row in select(page, "#positions tbody"):
        assert row.get("data-part") in text
    # positions, loose parts, order, measurements, readings; suspects where there are any
    suspects = 1 if made.check is not None and made.check.suspects else 0
    assert len(select(other, "table")) == 5 + suspects


def test_no_name_of_a_file_is_markdown(hostile: JobReport) -> None:
    other = parsed(markdown_page(hostile))
    assert other.xpath("//script | //img | //a | //em | //i | //code") == []
    for table in select(other, "table"):
        columns = len(select(table, "thead th"))
        assert all(len(row) == columns for row in select(table, "tr"))
    assert "[a](http://example.org)" in words(select(other, "h1")[0])


def test_print_without_a_browser_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(programs, "find_browser", lambda: None)
    with pytest.raises(CannotDraw, match=r"Write FILE\.html, and print it from any browser"):
        print_page("<p>x")


def test_a_browser_that_prints_nothing_is_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    program = tmp_path / "browser"
    program.write_text("#!/bin/sh\nexit 3\n")
    program.chmod(0o755)
    monkeypatch.setattr(programs, "find_browser", lambda: str(program))
    with pytest.raises(CannotDraw, match=r"browser made no PDF"):
        print_page("<p>x")
    program.chmod(0o644)
    with pytest.raises(CannotDraw, match="browser does not start"):
        print_page("<p>x")
    program.write_text("#!/bin/sh\nsleep 20\n")
    program.chmod(0o755)
    monkeypatch.setattr(programs, "MOST_PRINT_SECONDS", 0.2)
    with pytest.raises(CannotDraw, match="browser was still at work"):
        print_page("<p>x")
