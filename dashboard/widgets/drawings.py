"""Drawings inside a page: SVG as an image that has the colours of the page in it.

Takes SVG text; gives HTML. The page takes no bare SVG, and an image knows no colours of the page.
"""

from __future__ import annotations

import base64
import re

from dashboard.theme import look
from dashboard.widgets.pages import escaped

SIGN = """
path { fill: none; stroke-linecap: round; stroke-linejoin: round; }
.post { stroke: var(--target-edge); stroke-width: 3; stroke-dasharray: 4 4; }
.move { stroke: var(--ink); stroke-width: 3.6; }
.dot { stroke: var(--run1); stroke-width: 2; fill: var(--run1); }
"""
# of an image as wide as a phone: letters that can be read there
NARROW = "@media (max-width: 460px) { text { font-size: 21.5px; } }"
STRIP = """
text { font: 13px system-ui, sans-serif; fill: var(--ink); }
.edge { fill: var(--target-edge); }
.band { fill: var(--target-fill); stroke: var(--target-edge); stroke-dasharray: 2 3; }
.base { stroke: var(--axis); }
.run0 { stroke: var(--run0); fill: none; }
.run1 { stroke: var(--run1); fill: var(--run1); }
.dashed { stroke-dasharray: 5 3; }
"""


def image_html(svg: str, words: str, kind: str, style: str = "") -> str:
    """Give a drawing as an image with its words; `kind` is its class on the page, `style` its own style sheet."""
    here = look()
    colours = {
        "ink": here.ink,
        "axis": here.axis,
        "run0": here.runs[0],
        "run1": here.runs[1],
        "target-fill": here.target_fill,
        "target-edge": here.target_edge,
    }
    for name, colour in colours.items():
        style = style.replace(f"var(--{name})", colour)
    head = f"<style>svg {{ color: {here.ink}; }} {style}</style>"
    text = re.sub(r"(<svg\b[^>]*>)", lambda found: found[1] + head, svg, count=1)
    if "xmlns=" not in text:
        text = text.replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
    data = base64.b64encode(text.encode()).decode()
    return f'<img class="{kind}" src="data:image/svg+xml;base64,{data}" alt="{escaped(words)}">'
