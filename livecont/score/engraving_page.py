"""The page: a heading, a legend, and systems, as one HTML file or one SVG.

Conventions: everything is inside the file: no script, no font, no picture from elsewhere, which its
content security policy states besides. Words from files are escaped. Systems are not broken over
pages; A4 is the paper.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

from livecont.score.engraving import Engraved
from livecont.score.engraving_marks import GROUND, INK, NEW, QUIET, Marked

SERIF = "'Times New Roman', Tinos, 'Liberation Serif', 'Nimbus Roman', 'DejaVu Serif', serif"
GAP = 500.0  # between systems of an SVG
EDGE = 500.0
MUSIC_STYLE = (
    ".music{color:#1a1a1a}"
    ".ink path,.ink polygon,.ink polyline,.ink ellipse{stroke:currentColor}"
    ".ink g.mNum{font-style:italic}.ink g.tempo,.ink g.reh{font-weight:bold}"
    ".ink .placeholder{visibility:hidden}"
)
PAGE_STYLE = f"""
:root{{font-family:{SERIF};color:{INK};background:#fff;
  -webkit-print-color-adjust:exact;print-color-adjust:exact}}
body{{margin:0 auto;padding:2.2rem 2rem 3rem;max-width:88rem}}
header{{display:grid;grid-template-columns:1fr auto;gap:.2rem 2rem;align-items:baseline;
  border-bottom:2px solid {INK};padding-bottom:.8rem;margin-bottom:1rem}}
h1{{font-size:2rem;line-height:1.15;margin:0;font-weight:normal;overflow-wrap:anywhere}}
header .label{{font-size:2rem;font-weight:bold;text-align:right;white-space:nowrap;margin:0}}
.where,.spoken{{margin:0;font-size:1.15rem;color:#333}}
.spoken{{text-align:right}}
.facts{{display:flex;flex-wrap:wrap;gap:.3rem 1.6rem;margin:0 0 .6rem;padding:0;list-style:none;
  font-size:1.1rem}}
.legend{{display:flex;flex-wrap:wrap;gap:.3rem 1.8rem;margin:0 0 1.2rem;padding:0;list-style:none;
  font-size:1rem;color:#333}}
.legend i{{display:inline-block;width:2.2rem;height:.55rem;margin-right:.5rem;
  vertical-align:-.1rem}}
.legend .given{{border:1.5px solid {QUIET};border-bottom:0}}
.legend .new{{border:4px solid {NEW};border-bottom:0;background:{GROUND}}}
.system{{margin:0 0 1.1rem;break-inside:avoid}}
.system svg{{display:block;width:100%;height:auto;font-family:{SERIF}}}
.glyphs{{position:absolute;width:0;height:0;overflow:hidden}}
footer{{font-size:.95rem;color:#444;border-top:1px solid #999;padding-top:.5rem;margin-top:1.2rem}}
{MUSIC_STYLE}
@page{{size:A4;margin:13mm 12mm}}
@media print{{
  :root{{font-size:9pt}}
  body{{padding:0;max-width:none}}
  .system{{margin-bottom:4mm}}
}}
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """What stands above the music; what is empty is left out.

    `label` is the harmonic label, `spoken` how it is said, `facts` some words each; `given` says
    what links are that are not new.
    """

    title: str
    where: str = ""
    label: str = ""
    spoken: str = ""
    facts: tuple[str, ...] = ()
    foot: str = ""
    given: str = "in the piece"


def html_page(heading: Heading, engraved: Engraved, systems: Sequence[Marked], legend: bool) -> str:
    """Return the page as one HTML document."""
    figures = "".join(
        f'<figure class="system">{_svg(engraved, system)}</figure>\n' for system in systems
    )
    facts = "".join(f"<li>{escape(fact)}</li>" for fact in heading.facts)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\';'
        " style-src 'unsafe-inline'\">\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(heading.title)}</title>\n<style>{PAGE_STYLE}</style>\n</head>\n<body>\n"
        f"<header>\n<h1>{escape(heading.title)}</h1>\n"
        f'<p class="label">{escape(heading.label)}</p>\n'
        f'<p class="where">{escape(heading.where)}</p>\n'
        f'<p class="spoken">{escape(heading.spoken)}</p>\n</header>\n'
        f'<ul class="facts">{facts}</ul>\n{_legend(heading) if legend else ""}'
        f'<svg class="glyphs" xmlns="http://www.w3.org/2000/svg"><defs>{engraved.glyphs}</defs>'
        f"</svg>\n<main>\n{figures}</main>\n"
        f"{_footer(heading)}</body>\n</html>\n"
    )


def _legend(heading: Heading) -> str:
    return (
        f'<ul class="legend"><li><i class="given"></i>{escape(heading.given)}</li>'
        '<li><i class="new"></i>new links</li></ul>\n'
    )


def _footer(heading: Heading) -> str:
    return f"<footer>{escape(heading.foot)}</footer>\n" if heading.foot else ""


def _svg(engraved: Engraved, system: Marked) -> str:
    height = system.bottom - system.top
    return (
        f'<svg class="music" xmlns="http://www.w3.org/2000/svg" role="img"'
        f' viewBox="{engraved.left:.0f} {system.top:.0f} {engraved.width:.0f} {height:.0f}">'
        f'{system.under}<g class="ink">{system.drawing}</g>{system.over}</svg>'
    )


def svg_page(heading: Heading, engraved: Engraved, systems: Sequence[Marked]) -> str:
    """Return the page as one SVG drawing, as tall as need be."""
    lines, at = _heading_lines(heading, engraved.width)
    body = []
    for system in systems:
        body.append(
            f'<g transform="translate({-engraved.left:.0f} {at - system.top:.0f})">'
            f'{system.under}<g class="ink">{system.drawing}</g>{system.over}</g>'
        )
        at += system.bottom - system.top + GAP
    width, height = engraved.width, at
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<svg class="music" xmlns="http://www.w3.org/2000/svg" width="{width / 20:.0f}"'
        f' height="{height / 20:.0f}" viewBox="0 0 {width:.0f} {height:.0f}"'
        f' font-family="{escape(SERIF, {chr(34): chr(39)})}">\n<style>{MUSIC_STYLE}</style>\n'
        f'<rect width="{width:.0f}" height="{height:.0f}" fill="#ffffff"/>\n'
        f"<defs>{engraved.glyphs}</defs>\n{lines}{''.join(body)}\n</svg>\n"
    )


def _heading_lines(heading: Heading, width: float) -> tuple[str, float]:
    """Return the heading drawn, and where it ends; letters are about half as wide as high."""
    room = width - 2 * EDGE
    label_room = 0.6 * 640.0 * len(heading.label) + EDGE if heading.label else 0.0
    title_size = min(640.0, (room - label_room) / (0.55 * max(1, len(heading.title))))
    where_size = min(400.0, room / (0.55 * max(1, len(heading.where) + len(heading.spoken) + 4)))
    rows = [
        (heading.title, title_size, heading.label, 640.0, "bold"),
        (heading.where, where_size, heading.spoken, where_size, "normal"),
        *((line, 360.0, "", 360.0, "normal") for line in _lines(heading.facts, room / 200)),
    ]
    drawn, at = [], EDGE
    for left, size, right, right_size, weight in rows:
        if left or right:
            at += 1.3 * max(size, right_size if right else 0.0)
            drawn.append(
                f'<text x="{EDGE:.0f}" y="{at:.0f}" font-size="{size:.0f}">{escape(left)}</text>'
                f'<text x="{width - EDGE:.0f}" y="{at:.0f}" font-size="{right_size:.0f}"'
                f' font-weight="{weight}" text-anchor="end">{escape(right)}</text>'
            )
    return "".join(drawn), at + GAP


def _lines(facts: Sequence[str], most: float) -> list[str]:
    """Put facts in lines of so many letters."""
    lines: list[str] = []
    for fact in facts:
        if lines and len(lines[-1]) + len(fact) + 5 <= most:
            lines[-1] += f"   ·   {fact}"
        else:
            lines.append(fact)
    return lines
