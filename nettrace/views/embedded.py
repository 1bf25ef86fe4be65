"""Drawings put into a page: an SVG text made part of the HTML, harmless and on its own.

Names of its elements are kept apart from the page's, and nothing in it runs or loads. What stands
for a part, a pad or a net is marked (`data-part`, `data-pad`, `data-net`), so that the page can
show the same thing everywhere; what Graphviz drew is found by its node name.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType
from xml.etree import ElementTree as ET

from nettrace.errors import BadInput
from nettrace.views.drawing import SEPARATOR, Markup, safe_text

#: Elements that a drawing is made of; others may run, load or hold foreign matter.
_SHAPES = frozenset({"svg", "g", "a", "title", "path", "polygon", "polyline", "rect", "circle",
                     "ellipse", "line", "text", "tspan"})  # fmt: skip
_NO_NAMES: Mapping[str, str] = MappingProxyType({})
_NO_NUMBERS: Mapping[str, int] = MappingProxyType({})


def embed_svg(
    text: str,
    name: str,
    label: str,
    *,
    parts: Mapping[str, str] = _NO_NAMES,
    nets: Mapping[str, str] = _NO_NAMES,
    numbers: Mapping[str, int] = _NO_NUMBERS,
) -> Markup:
    """Return an SVG as an element of the page.

    Args:
        text: the SVG as a file holds it.
        name: letters that its ids get in front; one drawing each.
        label: what it shows, for those who hear the page.
        parts: Graphviz node name -> part key (several: `SEPARATOR` between).
        nets: Graphviz node name -> net name.
        numbers: part key -> number: the first thing marked with that part links to its row.

    Raises:
        BadInput: the text is no SVG.
    """
    try:
        root = ET.fromstring(text)  # noqa: S314 - made by us or by `dot`, from a file never
    except ET.ParseError as error:
        raise BadInput(f"a drawing that is no SVG ({error})") from None
    _clean(root, name)
    if root.tag != "svg":
        raise BadInput(f"a drawing that starts with {root.tag!r}", expected="svg")
    _mark_nodes(root, parts, nets)
    _link(root, name, numbers)
    size = [root.attrib.pop("width", ""), root.attrib.pop("height", "")]
    if "viewBox" not in root.attrib and all(size):
        wide, high = (re.sub(r"[^\d.]", "", side) or "100" for side in size)
        root.set("viewBox", f"0 0 {wide} {high}")
    root.set("id", name)
    root.set("role", "group")
    root.set("aria-label", safe_text(label))
    return Markup(ET.tostring(root, encoding="unicode"))


def _clean(root: ET.Element, name: str) -> None:
    """Drop what could run or load, and the namespaces: HTML knows SVG by its tag."""
    for parent in list(root.iter()):
        for child in list(parent):
            if _local(child.tag) not in _SHAPES:  # remarks are not read in at all
                parent.remove(child)
    for element in root.iter():
        element.tag = _local(element.tag)
        given = dict(element.attrib)
        element.attrib.clear()
        for full, value in given.items():
            word = _local(full)
            loads = word in {"href", "style"} or "url(" in value
            runs = word.lower().startswith("on")
            if not loads and not runs and not full.startswith("{http://www.w3.org/XML"):
                element.set(word, f"{name}-{value}" if word == "id" else value)


def _local(name: str) -> str:
    return name.rsplit("}", 1)[-1]


def _mark_nodes(root: ET.Element, parts: Mapping[str, str], nets: Mapping[str, str]) -> None:
    """Mark Graphviz nodes, known by their `title`, with the part or net they stand for.

    Their titles go then: a name such as `p0` tells nobody anything. What Graphviz gives as the
    title of a link that leads nowhere becomes the tip.
    """
    for group in root.iter("g"):
        title = group.find("title")
        if group.get("class", "").split()[:1] not in (["node"], ["edge"]) or title is None:
            continue
        name = title.text or ""
        if name in parts:
            group.set("data-part", safe_text(parts[name]))
        if name in nets:
            group.set("data-net", safe_text(nets[name]))
        group.remove(title)
    for link in [each for each in root.iter("a") if "href" not in each.attrib]:
        link.tag = "g"
        tip = link.attrib.pop("title", "")
        if tip:
            element = ET.Element("title")
            element.text = safe_text(tip)
            link.insert(0, element)


def _link(root: ET.Element, name: str, numbers: Mapping[str, int]) -> None:
    """Let the keyboard reach each position once, and lead from it to its row.

    What is linked is the position's balloon, else the first thing that is it. A node that stands
    for several parts is linked for the first of them.
    """
    shown = {safe_text(key): number for key, number in numbers.items()}
    parents = {child: parent for parent in root.iter() for child in parent}
    found: dict[str, ET.Element] = {}
    for element in root.iter():
        if any(word in element.attrib for word in ("data-part", "data-pad", "data-net")):
            element.attrib.setdefault("tabindex", "-1")  # a tap gives it the focus
        key = element.get("data-part", "").split(SEPARATOR)[0]
        if key in shown and (
            key not in found or (_is_balloon(element) and not _is_balloon(found[key]))
        ):
            found[key] = element
    for key, element in found.items():
        parent, number = parents.get(element), shown[key]
        if parent is None:
            continue
        link = ET.Element("a", {"href": f"#position-{number}", "class": "balloon"})
        link.set("id", f"{name}-position-{number}")
        link.set("data-part", key)
        link.set("aria-label", f"Position {number}, {key}")
        at = list(parent).index(element)
        link.tail, element.tail = element.tail, None
        parent.remove(element)
        link.append(element)
        parent.insert(at, link)


def _is_balloon(element: ET.Element) -> bool:
    return "balloon" in element.get("class", "").split()
