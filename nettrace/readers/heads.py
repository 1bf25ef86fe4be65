"""What the heads of the two formats without a mark of their own look like: decks and tables.

A deck is any text whose second line on looks like one, whatever its title; a table is any text
with a row of headings, one of them for references. Each pattern reads a head once, from its start.
"""

from __future__ import annotations

import re

__all__ = ["SPICE_HEAD", "TABLE_HEAD"]

#: A whole cell that heads references; the words are those of `csv_headings`, with the accents and
#: dots that its normal form loses.
_REFERENCE_CELL = (
    r"(?:^|[,;\t])(?:[ ]*+\"?[ #*]*+"
    r"(?:ref(?:[._ ]*des(?:ignators?|\.)?|s|\.|[._ ]name|erence(?:s|\(s\))?"
    r"|erence[ _]designators?)?"
    r"|(?:part|component|comp\.?|symbol|test[ ]?point)[ _]ref(?:\.|s|erences?)?"
    r"|(?:part[ _])?designators?(?:\(s\))?|refdesignator"
    r"|referenz(?:en|bezeichner)?|bauteil(?:referenz|bezeichner)|bezeichner"
    r"|r[eé]f[eé]rences?|rep[eè]res?|d[eé]signateurs?|referencias?|designador(?:es)?"
    r"|riferiment[oi]|designator[ei]|(?:元件|器件|参考)?位[号號]|(?:元件)?标号|参考编号"
    r"|(?:поз(?:\.|иционное)?[ ])?обозначение)"
    r"[ ]*+\"?[ ]*+"
    # as likely in a sentence: only where no blank follows the comma
    r"|\"?(?:parts?|components?|bauteile?)\"?)(?=[,;\t\r\n]|\Z)"
)
#: Near the top, a row with such a cell, and below it another with the same separator; a rule of
#: dashes may stand between.
_HEADING_ROW = (
    r"(?:[^\n]*+\n){0,15}?(?:"
    r"(?=[^\n,]*+,[^\n]*+\n(?>(?:[ \t\r_=-]*+\n)*)[^\n,]*+,)"
    r"|(?=[^\n;]*+;[^\n]*+\n(?>(?:[ \t\r_=-]*+\n)*)[^\n;]*+;)"
    r"|(?=[^\n\t]*+\t[^\n]*+\n(?>(?:[ \t\r_=-]*+\n)*)[^\n\t]*+\t))"
    rf"[^\n]*?{_REFERENCE_CELL}"
)

#: Lines that may stand in a deck: elements, dot lines, continuations, remarks, blank ones.
_DECK_LINES = r"[^\n]*+\n(?:[ \t]*+(?:[*+.;$/A-Za-z][^\n]*+|\r)?\n)*?[ \t]*+"

SPICE_HEAD = re.compile(
    rf"\A(?:{_DECK_LINES}"
    r"\.(?:subckt|model|ends|control|options?|params?|tran|ac|dc|op|inc(?:l|lude)?|lib"
    r"|save|plot|print|temp|global|end)(?!\S)"
    # or a passive with a number, and no row of headings above it
    rf"|(?!{_HEADING_ROW}){_DECK_LINES}"
    r"[RCL][^\s,;]{1,40}+[ \t]++[^\s,;]++[ \t]++[^\s,;]++[ \t]++[{'+-]?\.?[0-9][^\s,]*+"
    r"(?:[ \t]++[^\s,=]++)?(?:[ \t]++(?:[;$/]|[^\s,=]+=)[^\n]*+)?[ \t\r]*+$)",
    re.IGNORECASE | re.MULTILINE,
)

TABLE_HEAD = re.compile(
    rf"\A\ufeff?(?!\s*+[\[{{<(])(?:{_HEADING_ROW}|\s*+{_REFERENCE_CELL}"
    # a remark with the headings of a table in aligned columns
    r"|(?:[^\n]*+\n){0,15}?#[ \t]*+ref[ \t]++(?:\w++[ \t]++){1,4}?posx[ \t]++posy\b)",
    re.IGNORECASE | re.MULTILINE,
)
