"""Drawings put into the page: an SVG text made part of the HTML, harmless and on its own.

Names of its elements are kept apart from the page's, its style holds for it alone, and nothing in
it runs or loads. What stands for a part, a pad or a net is marked, so that the page can show the
same thing everywhere: an element carries `data-ref`, `data-pad` or `data-net` itself, or is found
by its Graphviz node name.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from types import MappingProxyType
from xml.etree import ElementTree as ET

from nettrace.errors import BadInput
from nettrace.views.sheet_html import SEPARATOR, Markup
from nettrace.views.text import printable

__all__ = ["embed_svg"]

_REFERENCE = re.compile(r"url\(\s*['\"]?#([^'\")]+)['\"]?\s*\)")
_RULE = re.compile(r"([^{}]+)\{([^{}]*)\}")
#: Elements that run, load or hold foreign matter.
_DROPPED = frozenset({"script", "foreignObject", "iframe", "audio", "video", "animate", "set"})
_NOTHING: Mapping[str, str] = MappingProxyType({})


def embed_svg(
    text: str,
    name: str,
    label: str,
    *,
    parts: Mapping[str, str] = _NOTHING,
    nets: Mapping[str, str] = _NOTHING,
    refs: Mapping[str, str] = _NOTHING,
    numbers: Mapping[str, int] = _NOTHING,  # type: ignore[assignment] # empty: of any type
) -> Markup:
    """Return an SVG as an element of the page.

    Args:
        text: the SVG as a file holds it.
        name: letters that its ids get in front; one drawing each.
        label: what it shows, for those who hear the page.
        parts: Graphviz node name -> part key (several: `SEPARATOR` between).
        nets: Graphviz node name -> net name.
        refs: what `data-ref` says -> part key.
        numbers: part key -> number: the first thing marked with that part links to its row.

    Raises:
        BadInput: the text is no SVG.
    """
    try:
        root = ET.fromstring(text)  # noqa: S314 - made by us or by `dot`, from a file never
    except ET.ParseError as error:
        raise BadInput(f"a drawing that is no SVG ({error})") from None
    _clean(root)
    if root.tag != "svg":
        raise BadInput(f"a drawing that starts with {root.tag!r}", expected="svg")
    for element in root.iter():
        _rename(element, name)
        if element.tag == "style":
            element.text = _scoped(element.text or "", f"#{name}")
    _mark_nodes(root, parts, nets)
    for element in root.iter():
        key = refs.get(element.get("data-ref", ""))
        if key is not None:
            element.set("data-part", printable(key))
    _link(root, name, numbers)
    for size in ("width", "height"):
        value = root.attrib.pop(size, None)
        if value is not None and "viewBox" not in root.attrib:
            root.set(f"data-{size}", value)
    _own_view(root)
    root.set("id", name)
    root.set("role", "group")
    root.set("aria-label", printable(label))
    return Markup(ET.tostring(root, encoding="unicode"))


def _clean(root: ET.Element) -> None:
    """Drop what could run or load, and the namespaces: HTML knows SVG by its tag."""
    for parent in list(root.iter()):
        for child in list(parent):
            if _local(child.tag) in _DROPPED:  # remarks are not read in at all
                parent.remove(child)
    for element in root.iter():
        element.tag = _local(element.tag)
        for full, value in list(element.attrib.items()):
            del element.attrib[full]
            word = _local(full)
            harmless = not word.lower().startswith("on") and not (
                word == "href" and not value.startswith(("#", "data:image/"))
            )
            if harmless and not full.startswith("{http://www.w3.org/XML"):
                element.set(word, value)


def _local(name: str) -> str:
    return name.rsplit("}", 1)[-1]


def _rename(element: ET.Element, name: str) -> None:
    for word, value in element.attrib.items():
        if word == "id":
            element.set(word, f"{name}-{value}")
        elif word == "href" and value.startswith("#"):
            element.set(word, f"#{name}-{value[1:]}")
        elif word in {"aria-labelledby", "aria-describedby"}:
            element.set(word, " ".join(f"{name}-{each}" for each in value.split()))
        elif "url(" in value:
            element.set(word, _REFERENCE.sub(rf"url(#{name}-\1)", value))


def _scoped(css: str, scope: str) -> str:
    """Return plain rules that hold inside the scope alone; rules in blocks (@media) are dropped."""
    css = re.sub(r"/\*.*?\*/", "", css, flags=re.DOTALL)
    css = re.sub(r"@[^{};]*(;|\{(?:[^{}]*\{[^{}]*\})*[^{}]*\})", "", css)
    rules = []
    for selectors, body in _RULE.findall(css):
        own = [f"{scope} {each.strip()}" for each in selectors.split(",")]
        own = [each.replace(f"{scope} svg", scope) if each == f"{scope} svg" else each
               for each in own]  # fmt: skip
        inner = _REFERENCE.sub(rf"url({scope}-\1)", body)
        rules.append(f"{', '.join(own)} {{{inner}}}")
    return "\n".join(rules)


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
            group.set("data-part", printable(parts[name]))
        if name in nets:
            group.set("data-net", printable(nets[name]))
        group.remove(title)
    for link in [each for each in root.iter("a") if "href" not in each.attrib]:
        link.tag = "g"
        tip = link.attrib.pop("title", "")
        if tip:
            element = ET.Element("title")
            element.text = printable(tip)
            link.insert(0, element)


def _link(root: ET.Element, name: str, numbers: Mapping[str, int]) -> None:
    """Let the keyboard reach each position once, and lead from it to its row."""
    parents = {child: parent for parent in root.iter() for child in parent}
    first = _first_of_each(root, {printable(key): number for key, number in numbers.items()})
    for element in list(root.iter()):
        if any(word in element.attrib for word in ("data-part", "data-pad", "data-net")):
            element.attrib.setdefault("tabindex", "-1")  # a tap gives it the focus
    for key, (number, element) in first.items():
        parent = parents.get(element)
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


def _first_of_each(
    root: ET.Element, numbers: Mapping[str, int]
) -> dict[str, tuple[int, ET.Element]]:
    """Return for each numbered part its number and balloon, else the first thing that is it.

    A node that stands for several parts is linked for the first of them.
    """
    found: dict[str, tuple[int, ET.Element]] = {}
    for element in _marked(root):
        key = element.get("data-part", "").split(SEPARATOR)[0]
        if key not in numbers:
            continue
        known = found.get(key)
        if known is None or (_is_balloon(element) and not _is_balloon(known[1])):
            found[key] = numbers[key], element
    return found


def _is_balloon(element: ET.Element) -> bool:
    return "balloon" in element.get("class", "").split()


def _marked(root: ET.Element) -> Iterator[ET.Element]:
    for element in root.iter():
        if "data-part" in element.attrib:
            yield element


def _own_view(root: ET.Element) -> None:
    width, height = root.attrib.pop("data-width", ""), root.attrib.pop("data-height", "")
    if "viewBox" not in root.attrib and width and height:
        figures = [re.sub(r"[^\d.]", "", text) or "100" for text in (width, height)]
        root.set("viewBox", f"0 0 {figures[0]} {figures[1]}")
