"""Letters on paper: the fonts, the order in which letters stand, and what a line can hold.

The fonts are shipped with this package (`fonts/LICENSE.txt`); they hold Latin, Greek, Cyrillic,
Hebrew, Arabic and more, and are embedded, so that paper looks the same on every machine.  A letter
that they lack is shown as a box; piece numbers tell pieces apart wherever that happens.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from pathlib import Path

import arabic_reshaper
from bidi.algorithm import get_display
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from api.tables import plain

REGULAR, BOLD = "splitplan", "splitplan-bold"
_FILES = {REGULAR: "DejaVuSansCondensed.ttf", BOLD: "DejaVuSansCondensed-Bold.ttf"}
MISSING = "□"

_RIGHT_TO_LEFT = frozenset({"R", "AL", "AN"})


@cache
def load_fonts() -> dict[str, frozenset[int]]:
    """Register the fonts with the PDF library; return the letters that each one holds."""
    folder = Path(__file__).parent / "fonts"
    held = {}
    for name, file in _FILES.items():
        font = TTFont(name, str(folder / file))
        pdfmetrics.registerFont(font)
        held[name] = frozenset(font.face.charToGlyph)
    return held


def visual(text: str, font: str = REGULAR) -> str:
    """Return the text as its letters stand from left to right, controls and strangers replaced.

    Right-to-left words are turned by the Unicode bidirectional algorithm and Arabic letters joined.
    """
    return _visual(text, font)


@cache
def _visual(text: str, font: str) -> str:
    held = load_fonts()[font]
    shown = plain(unicodedata.normalize("NFC", text))
    if any(unicodedata.bidirectional(one) in _RIGHT_TO_LEFT for one in shown):
        shown = get_display(arabic_reshaper.reshape(shown), base_dir="L")
    return "".join(one if ord(one) in held else MISSING for one in shown)


def width_pt(text: str, size_pt: float, font: str = REGULAR) -> float:
    """Return the width of a text on paper, in points."""
    load_fonts()
    return float(pdfmetrics.stringWidth(visual(text, font), font, size_pt))


def fit(text: str, room_pt: float, size_pt: float, font: str = REGULAR) -> str:
    """Return the text cut to the room, with an ellipsis where something is missing."""
    if width_pt(text, size_pt, font) <= room_pt:
        return text
    low, high = 0, len(text)
    while low < high:
        middle = (low + high + 1) // 2
        if width_pt(text[:middle].rstrip() + "…", size_pt, font) <= room_pt:
            low = middle
        else:
            high = middle - 1
    return text[:low].rstrip() + "…"


def broken(text: str, room_pt: float, size_pt: float, font: str = REGULAR) -> list[str]:
    """Return the text in lines that fit the room; a word longer than a line is divided."""
    lines: list[str] = []
    line = ""
    for word in plain(text).split():
        longer = f"{line} {word}" if line else word
        if width_pt(longer, size_pt, font) <= room_pt:
            line = longer
            continue
        if line:
            lines.append(line)
        while width_pt(word, size_pt, font) > room_pt and len(word) > 1:
            kept = len(word)
            while kept > 1 and width_pt(word[:kept], size_pt, font) > room_pt:
                kept -= 1
            lines.append(word[:kept])
            word = word[kept:]
        line = word
    if line or not lines:
        lines.append(line)
    return lines
