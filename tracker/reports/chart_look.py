"""How every chart looks: one theme, colours that read in grey, fillings, and an SVG that can be read aloud."""

from __future__ import annotations

import html
import re
from typing import Any

WIDTH = 344  # fits a 360 px phone beside its margins, so that 12 px letters stay 12 px
FONT = 12
LETTER = 7  # pixels that a letter of that size takes at most, on average
INK, QUIET, MAIN, PALE, PAPER = "#24221d", "#595347", "#0c4f55", "#c9dfdc", "#fffefa"

# A filling is drawn in a stand-in colour that nothing else uses and exchanged for its pattern in the finished SVG.
FILLINGS: dict[str, tuple[str, str]] = {
    "solid": (MAIN, ""),
    "pale": (PALE, ""),
    "stripes": ("#a1b2c3", '<path d="M-1 1L1 -1M0 6L6 0M5 7L7 5" stroke="#0c4f55" stroke-width="1.6"/>'),
    "dots": ("#a2b3c4", '<circle cx="3" cy="3" r="1.3" fill="#0c4f55"/>'),
    "missing": ("#a3b4c5", '<path d="M0 0L6 6M6 0L0 6" stroke="#80796a" stroke-width="0.9"/>'),
    "empty": ("#fefefe", ""),
    "faint": ("#d3ccba", ""),
}
PART_FILLINGS = ("solid", "stripes", "dots", "empty")


def accessible(svg_text: str, uid: str, title: str, description: str) -> str:
    """Steady ids of its own, a title and a description, patterns for stand-in colours, no style attribute.

    >>> accessible('<svg width="9" style="x"><g id="clip1" role="m"/></svg>', "c", "A", "B")[:53]
    '<svg role="img" aria-labelledby="c-t" aria-describedb'
    """
    text = re.sub(r'\s(?:role|aria-[a-z]+|style)="[^"]*"', "", svg_text)
    order: dict[str, int] = {}
    text = re.sub(
        r'(\bid="|url\(#)((?:gradient_|clip)\d+)', lambda m: f"{m[1]}{uid}-{order.setdefault(m[2], len(order))}", text
    )
    defs = []
    for name, (colour, drawing) in FILLINGS.items():
        if drawing and f'fill="{colour}"' in text:
            text = text.replace(f'fill="{colour}"', f'fill="url(#{uid}-{name})"')
            box = f'<rect width="6" height="6" fill="{PAPER}"/>'
            size = 'width="6" height="6" patternUnits="userSpaceOnUse"'
            defs.append(f'<pattern id="{uid}-{name}" {size}>{box}{drawing}</pattern>')
    head = f'<title id="{uid}-t">{html.escape(title)}</title><desc id="{uid}-d">{html.escape(description)}</desc>'
    head += f"<defs>{''.join(defs)}</defs>" if defs else ""
    text = text.replace("<svg ", f'<svg role="img" aria-labelledby="{uid}-t" aria-describedby="{uid}-d" ', 1)
    return re.sub(r"(<svg\b[^>]*>)", lambda m: m[1] + head, text, count=1)


def finish(chart: Any, height: int) -> dict[str, Any]:
    """The specification with the one theme of all charts."""
    axis = {
        "labelFontSize": FONT,
        "titleFontSize": FONT,
        "labelColor": INK,
        "titleColor": QUIET,
        "titleFontWeight": 400,
    }
    axis |= {"domain": False, "ticks": False, "gridColor": "#e3dccb", "labelPadding": 6}
    legend = {"labelFontSize": FONT, "labelColor": INK, "title": None, "orient": "top", "columns": 2, "labelLimit": 160}
    legend |= {
        "symbolType": "square",
        "symbolStrokeColor": INK,
        "symbolStrokeWidth": 1,
        "symbolSize": 130,
        "offset": 6,
        "columnPadding": 28,
    }
    chart = chart.properties(width=WIDTH, height=height, autosize={"type": "fit", "contains": "padding"})
    chart = chart.configure(
        font="sans-serif", background="transparent", padding={"left": 7, "right": 2, "top": 2, "bottom": 2}
    )
    chart = chart.configure_axis(**axis).configure_legend(**legend).configure_view(stroke=None)
    made: dict[str, Any] = chart.to_dict()
    return made
