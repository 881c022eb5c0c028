"""Drawings as DXF R2010 in millimetres, for machines and other programs.

Every layer has a name of ours from a fixed list.  Closed outlines are closed polylines.  Times and
random marks are left out, so that the same drawing gives the same bytes.
"""

from __future__ import annotations

import io

import ezdxf
from ezdxf.enums import TextEntityAlignment
from ezdxf.filemanagement import new

from api.drawing.shapes import Drawing, Meaning
from api.tables import plain

LAYERS: dict[Meaning, tuple[str, str, int]] = {
    "cut": ("cut", "CONTINUOUS", 50),
    "fold": ("fold", "DASHDOT", 25),
    "bend": ("bend", "DIVIDE", 25),
    "slit": ("slit", "CONTINUOUS", 25),
    "V-notch": ("v-notch", "CONTINUOUS", 25),
    "mold line": ("mold line", "DASHED", 18),
    "clamp": ("clamp", "CONTINUOUS", 25),
    "stock": ("stock", "CONTINUOUS", 35),
    "roll end": ("roll end", "DASHED", 18),
    "offcut": ("offcut", "DASHED", 18),
    "gone": ("gone", "DOT", 18),
}
"""Layer, line type and line weight (1/100 mm) of each meaning."""

WORDS_LAYER = "words"
_MILLIMETRES = 4
"""Value of $INSUNITS for millimetres (DXF reference)."""


def dxf_bytes(drawing: Drawing, *, word_mm: float = 5.0) -> bytes:
    """Return a drawing as a DXF file."""
    # a library-wide switch: without it every file would hold the time and random marks
    ezdxf.options.write_fixed_meta_data_for_testing = True  # type: ignore[attr-defined]
    document = new("R2010", setup=["linetypes"], units=_MILLIMETRES)
    document.header["$MEASUREMENT"] = 1
    for name, line, weight in LAYERS.values():
        document.layers.add(name, linetype=line, lineweight=weight)
    document.layers.add(WORDS_LAYER)
    space = document.modelspace()
    for path in drawing.paths:
        layer = LAYERS[path.meaning][0]
        space.add_lwpolyline(path.points, close=path.closed, dxfattribs={"layer": layer})
    for word in drawing.words:
        text = space.add_text(
            plain(word.text),
            height=word_mm,
            rotation=word.turn_deg,
            dxfattribs={"layer": WORDS_LAYER},
        )
        text.set_placement(word.at, align=TextEntityAlignment.MIDDLE_CENTER)
    stream = io.StringIO(newline="\n")
    document.write(stream)
    return stream.getvalue().encode("utf-8", errors="replace")
