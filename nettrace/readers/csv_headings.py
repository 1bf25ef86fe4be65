"""Words that parts lists and placement tables put above their columns, in several languages.

Gathered from the exports of open and closed design suites and from the trade's usual words in
English, German, French, Spanish, Italian, Russian and Chinese (common practice, no source).
"""

from __future__ import annotations

import re
import unicodedata
from enum import StrEnum

__all__ = ["PART", "Column", "column_of", "normal_heading", "unit_of"]


class Column(StrEnum):
    """What a column holds."""

    REFERENCE = "reference"
    VALUE = "value"
    PACKAGE = "package"
    QUANTITY = "quantity"
    DESCRIPTION = "description"
    NOT_FITTED = "not fitted"
    FITTED = "fitted"
    X = "x"
    Y = "y"
    ROTATION = "rotation"
    SIDE = "side"
    NET = "net"
    PIN = "pin"


#: Words above the references, in the normal form of `normal_heading`.
_REFERENCE = (
    "ref|refs|refdes|ref des|ref designator|ref designators|ref name|reference|references"
    "|reference designator|reference designators|reference s|designator|designators|designator s"
    "|testpoint ref|test point ref|part reference|part references|part designator|component ref"
    "|component reference|comp ref|symbol reference|refdesignator|referenz|referenzen"
    "|referenzbezeichner|bauteilreferenz|bauteilbezeichner|bezeichner|repere|reperes|designateur"
    "|designateurs|referencia|referencias|designador|designadores|riferimento|riferimenti"
    "|designatore|designatori|位号|元件位号|器件位号|标号|位號|元件标号|参考编号|参考位号"
    "|обозначение|поз обозначение|позиционное обозначение"
)
#: Weaker ones: they head part names and numbers as often, so the cells must look like references.
_PERHAPS_REFERENCE = (
    "part|parts|name|component|components|bauteil|bauteile|composant|composants|item"
)
#: Those that head a value where another column has the references.
PART = frozenset({"part", "component", "bauteil", "composant"})
_WORDS: dict[Column, str] = {
    Column.VALUE: "value|val|values|designation|comment|part value|component value|nominal|wert"
    "|werte|bauteilwert|valeur|valeurs|valor|valores|valore|valori|值|数值|参数|规格|型号|номинал",
    Column.PACKAGE: "package|footprint|footprints|pattern|case|case package|package case"
    "|pcb footprint|land pattern|package name|gehause|gehaeuse|bauform|boitier|empreinte"
    "|encapsulado|huella|contenitore|impronta|package footprint|封装|封裝|корпус",
    Column.QUANTITY: "qty|quantity|quantity per pcb|quantity per board|qty per board|qty pcb|qnty"
    "|count|amount|anzahl|menge|stuck|stuckzahl|stk|quantite|qte|cantidad|cant|quantita|qta|q ta"
    "|数量|用量|количество|кол во",
    Column.DESCRIPTION: "description|desc|part description|beschreibung|bezeichnung|descripcion"
    "|descrizione|libelle|描述|说明|описание",
    Column.NOT_FITTED: "dnp|dnf|dni|dnm|dns|do not populate|do not place|do not fit|do not mount"
    "|do not install|not fitted|not placed|not populated|nicht bestuckt|nicht bestucken|non monte"
    "|ne pas monter|no montar|no montado|non montare|non montato|不贴|不焊|不贴装|не устанавливать",
    Column.FITTED: "fitted|populate|populated|mounted|mount|place|placed|installed|bestuckt"
    "|bestucken|bestuckung|monte|montado|montato|贴装|是否贴装",
    Column.X: "x|posx|pos x|x pos|x position|position x|mid x|midx|center x|centre x|centerx"
    "|ref x|x coord|x coordinate|x location|location x|loc x|coord x|x koordinate|x坐标|坐标x"
    "|locationx|中心x|中心x坐标",
    Column.Y: "y|posy|pos y|y pos|y position|position y|mid y|midy|center y|centre y|centery"
    "|ref y|y coord|y coordinate|y location|location y|loc y|coord y|y koordinate|y坐标|坐标y"
    "|locationy|中心y|中心y坐标",
    Column.ROTATION: "rot|rotation|angle|orientation|orient|drehung|winkel|rotacion|angulo"
    "|rotation deg|rotation degrees|rot deg|angle deg"
    "|rotazione|angolo|旋转|旋转角度|角度|угол",
    Column.SIDE: "side|layer|tb|board side|mount side|placement side|seite|lage|bestuckungsseite"
    "|cote|face|cara|lado|capa|lato|faccia|面|层|板层|贴装面|сторона",
    Column.NET: "net|net name|netname|signal|signal name|netz|netzname|signalname|reseau|red"
    "|nombre de red|rete|网络|网络名|цепь",
    Column.PIN: "pin|pin number|pin no|pad|pad number|pad name|pin name|broche|patilla|piedino"
    "|引脚|焊盘|管脚",
}
_COLUMN_OF: dict[str, tuple[Column, int]] = {
    word: (column, rank)
    for column, words in _WORDS.items()
    for rank, word in enumerate(words.split("|"))
}
_COLUMN_OF.update(
    (word, (Column.REFERENCE, rank)) for rank, word in enumerate(_REFERENCE.split("|"))
)
_COLUMN_OF.update(
    (word, (Column.REFERENCE, 100 + rank))
    for rank, word in enumerate(_PERHAPS_REFERENCE.split("|"))
)
PERHAPS_RANK = 100

_UNIT = re.compile(
    r"[(\[{]?\s*\b(mm|millimet(?:er|re)s?|mils?|thou|inch(?:es)?|in|um|µm|cm)\b\s*[)\]}]?"
)


def normal_heading(text: str) -> str:
    """Return a heading without case, accents, punctuation and its unit.

    >>> [normal_heading(t) for t in ('"Mid X (mm)"', "Center-X[mil]", "Gehäuse", "Qté.", "PosX")]
    ['mid x', 'center x', 'gehause', 'qte', 'posx']
    """
    folded = unicodedata.normalize("NFKD", text.strip().casefold())
    plain = "".join(char for char in folded if not unicodedata.combining(char))
    if len(plain) > 2:
        plain = _UNIT.sub(" ", plain)
    return " ".join(re.sub(r"[\W_]+", " ", plain).split())


def column_of(heading: str) -> tuple[Column, int] | None:
    """Return what the heading says its column holds, with a rank (0 first); None if it is other.

    >>> column_of("Reference(s)"), column_of("Stückliste")
    ((<Column.REFERENCE: 'reference'>, 11), None)
    """
    return _COLUMN_OF.get(normal_heading(heading))


def unit_of(text: str) -> float | None:
    """Return the millimetres of the unit a heading or cell names; None if it names none.

    >>> unit_of("Mid X (mil)"), unit_of("12.7mm"), unit_of("PosX")
    (0.0254, 1.0, None)
    """
    match = re.search(
        r"(?i)(?<![a-z])(mm|millimet(?:er|re)s?|mils?|thou|inch(?:es)?|in|um|µm|cm|\")(?![a-z])",
        text,
    )
    if match is None:
        return None
    unit = match[1].lower()
    if unit in ("mil", "mils", "thou"):
        return 0.0254
    if unit[0] == "i" or unit == '"':
        return 25.4
    return {"um": 0.001, "µm": 0.001, "cm": 10.0}.get(unit, 1.0)
