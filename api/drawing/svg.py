"""A drawing as SVG at true size: a unit of the drawing is a millimetre of paper or screen."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree

from api.drawing.shapes import Drawing, Meaning
from api.tables import plain

NAMESPACE = "http://www.w3.org/2000/svg"
MARGIN_MM = 2.0

STYLE: dict[Meaning, tuple[str, str]] = {
    "cut": ("0.4", ""),
    "fold": ("0.3", "4 1.2 0.8 1.2"),
    "bend": ("0.3", "4 1 0.8 1 0.8 1"),
    "slit": ("0.3", ""),
    "V-notch": ("0.3", ""),
    "mold line": ("0.2", "2.2 1.2"),
    "clamp": ("0.4", ""),
    "stock": ("0.4", ""),
    "roll end": ("0.2", "1 1"),
    "offcut": ("0.2", "2 1.5"),
    "gone": ("0.2", "0.6 0.6"),
}
"""Line width in mm and dashes of each meaning."""


def svg_tree(drawing: Drawing, *, word_mm: float = 5.0) -> ElementTree.Element:
    """Return the SVG element of a drawing: y is turned down, classes say what each path means."""
    low_x, low_y, high_x, high_y = drawing.box
    wide, high = high_x - low_x + 2 * MARGIN_MM, high_y - low_y + 2 * MARGIN_MM
    root = ElementTree.Element(
        "svg",
        {
            "xmlns": NAMESPACE,
            "width": f"{wide:.4f}mm",
            "height": f"{high:.4f}mm",
            "viewBox": f"{low_x - MARGIN_MM:.4f} {-high_y - MARGIN_MM:.4f} {wide:.4f} {high:.4f}",
            "fill": "none",
            "stroke": "black",
        },
    )
    ElementTree.SubElement(root, "title").text = plain(drawing.name)
    for path in drawing.paths:
        width, dash = STYLE[path.meaning]
        steps = " L ".join(f"{x:.4f} {0.0 - y:.4f}" for x, y in path.points)
        made = ElementTree.SubElement(
            root,
            "path",
            {
                "class": path.meaning.replace(" ", "-"),
                "d": f"M {steps}" + (" Z" if path.closed else ""),
                "stroke-width": width,
            },
        )
        if dash:
            made.set("stroke-dasharray", dash)
        if path.of:
            made.set("data-piece", plain(path.of))
    for word in drawing.words:
        x, y = word.at
        made = ElementTree.SubElement(
            root,
            "text",
            {
                "x": f"{x:.4f}",
                "y": f"{-y:.4f}",
                "font-family": "sans-serif",
                "font-size": f"{word_mm:g}",
                "text-anchor": "middle",
                "dominant-baseline": "central",
                "fill": "black",
                "stroke": "none",
            },
        )
        if word.turn_deg:
            made.set("transform", f"rotate({-word.turn_deg:.4f} {x:.4f} {-y:.4f})")
        made.text = plain(word.text)
    return root


def svg_bytes(drawing: Drawing, *, word_mm: float = 5.0) -> bytes:
    """Return a drawing as an SVG file; names are escaped by the XML library."""
    text: bytes = ElementTree.tostring(
        svg_tree(drawing, word_mm=word_mm), encoding="utf-8", xml_declaration=True
    )
    return text + b"\n"
