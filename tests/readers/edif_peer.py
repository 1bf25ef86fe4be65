"""spydrnet as the outside reader that EDIF is checked and timed against."""

from __future__ import annotations

import logging
import os
import re
import warnings
import zipfile
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest

__all__ = ["example_texts", "load_spydrnet", "peer_reads", "port_bit", "shown"]


def load_spydrnet() -> ModuleType:
    """The package; its own import logs a line that no handler can format."""
    logging.disable(logging.CRITICAL)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return pytest.importorskip("spydrnet")  # type: ignore[no-any-return]
    finally:
        logging.disable(logging.NOTSET)


def example_texts(boards: Path) -> Iterator[tuple[str, str]]:
    """Name and text of spydrnet's EDIF examples: those it was installed with, and the shared ones.

    Versions up to 1.9 ship them in the package; later ones name a folder in the variable below.
    """
    package = Path(load_spydrnet().__file__ or "").parent
    folders = [package / "support_files" / "EDIF_netlists", boards / "edif-netlists"]
    if named := os.environ.get("EXAMPLE_NETLISTS_PATH"):
        folders.append(Path(named) / "EDIF_netlists")
    for folder in folders:
        for path in sorted(folder.glob("*.edf*")):
            if path.suffix == ".zip":
                with zipfile.ZipFile(path) as archive:
                    yield path.name, archive.read(archive.namelist()[0]).decode()
            else:
                yield path.name, path.read_bytes().decode()


def shown(thing: Any) -> str:
    """The shown name: the string of `rename`, else the id without `&`."""
    name = str(thing.name)
    return name.removeprefix("&") if name == thing.get("EDIF.identifier") else name


def port_bit(pin: Any) -> str:
    """The shown name of a port's wire, by the shown range (members count from the left)."""
    port = pin.port
    name = str(port.get("EDIF.original_identifier") or port["EDIF.identifier"])
    if not port.is_array:
        return name.removeprefix("&")
    index, size = port.pins.index(pin), len(port.pins)
    shown_range = re.match(r"(.*?)[\[(<](-?\d+)(?::|\.\.)(-?\d+)[\])>]$", name)
    if shown_range is None:
        return f"{name}[{size - 1 - index}]"
    left, right = int(shown_range[2]), int(shown_range[3])
    return f"{shown_range[1]}[{left + index * (1 if right > left else -1)}]"


Groups = set[frozenset[tuple[str, str]]]


def peer_reads(path: Path, *, flat: bool) -> tuple[set[str], Groups]:
    """Instances and, for each net, its (instance, pin)s, as spydrnet reads the file."""
    spydrnet = load_spydrnet()
    top = spydrnet.parse(str(path)).top_instance.reference
    if not flat:
        kept = {
            frozenset(
                (shown(pin.instance), port_bit(pin.inner_pin))
                for pin in wire.pins
                if isinstance(pin, spydrnet.OuterPin)
            )
            for wire in top.get_wires()
        }
        return {shown(child) for child in top.children}, kept - {frozenset()}
    return _flattened(spydrnet, top)


def _flattened(spydrnet: ModuleType, top: Any) -> tuple[set[str], Groups]:
    into: dict[Any, Any] = {}
    pins: dict[Any, set[tuple[str, str]]] = {}
    instances: set[str] = set()

    def root(thing: Any) -> Any:
        while into.setdefault(thing, thing) != thing:
            thing = into[thing]
        return thing

    def walk(path: tuple[Any, ...], definition: Any) -> None:
        for wire in definition.get_wires():
            for pin in wire.pins:
                if not isinstance(pin, spydrnet.OuterPin):
                    into[root((path, pin))] = root((path, wire))
                    continue
                inner = (*path, pin.instance)
                if pin.instance.reference.is_leaf():
                    name = "/".join(shown(one) for one in inner)
                    pins.setdefault((path, wire), set()).add((name, port_bit(pin.inner_pin)))
                else:
                    into[root((inner, pin.inner_pin))] = root((path, wire))
        for child in definition.children:
            if child.reference.is_leaf():
                instances.add("/".join(shown(one) for one in (*path, child)))
            else:
                walk((*path, child), child.reference)

    walk((), top)
    groups: dict[Any, set[tuple[str, str]]] = {}
    for wire, found in pins.items():
        groups.setdefault(root(wire), set()).update(found)
    return instances, {frozenset(group) for group in groups.values()}
