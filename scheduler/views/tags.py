"""Log tags: the tag in big letters and a QR code (ISO/IEC 18004), eight to a page. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from urllib.parse import quote

import segno

from scheduler.settings import Species
from scheduler.views.paper import PAPERS, PaperName, document, element
from scheduler.views.wording import Wording, first_upper
from scheduler.yard.facts import Log

__all__ = ["code_text", "tags_html"]

COLUMNS, ROWS = 2, 4
CODE = 36.0  # mm
CSS = """
.paper { display: flex; flex-wrap: wrap; align-content: flex-start; break-after: page }
.paper:last-of-type { break-after: auto }
.tag { border: .2mm dashed #000; padding: 4mm; overflow: hidden; position: relative }
.tag h2 { font-weight: 700; line-height: 1.05; white-space: nowrap; overflow: hidden }
.tag p { font-size: 11pt; line-height: 4.8mm; max-height: 14.4mm; overflow: hidden; overflow-wrap: anywhere }
.tag p.small { font-size: 7pt; line-height: 3mm; max-height: 9mm; position: absolute; left: 4mm; bottom: 3mm }
.tag p.wood { font-size: 15pt; line-height: 6.2mm; max-height: 6.2mm; white-space: nowrap; font-weight: 700 }
.tag svg { position: absolute; right: 2mm; bottom: 2mm }
"""


def code_text(tag: str, address: str | None) -> str:
    """What the code holds: the address of the log's page, or the tag alone where no address is set."""
    return tag if address is None else f"{address.rstrip('/')}/log/{quote(tag, safe='')}"


def tags_html(
    logs: Sequence[Log],
    species: Mapping[str, Species],
    w: Wording,
    yard: str,
    address: str | None,
    paper: PaperName = "a4",
) -> str:
    """The tags as HTML, each on its field of the page.

    Raises
    ------
    ValueError
        Where an address is so long that no code holds it.
    """
    sheet, words = PAPERS[paper], w.words
    size = (sheet.inner[0] / COLUMNS, sheet.inner[1] / ROWS)
    each = COLUMNS * ROWS
    fields = [_field(log, species, w, yard, address, size) for log in logs]
    pages = [
        element("section", "", *fields[n : n + each], css="paper")
        for n in range(0, max(len(fields), 1), each)
    ]
    title = words.say("tags.title", yard=yard)
    return document(title, words.language, sheet, CSS, "\n".join(pages))


def _field(
    log: Log,
    species: Mapping[str, Species],
    w: Wording,
    yard: str,
    address: str | None,
    size: tuple[float, float],
) -> str:
    width, height = size
    # Capital letters are about 0.7 of the type size wide: a long tag is set smaller.
    points = min(72.0, (width - 8.0) / 0.3528 / 0.72 / max(len(log.tag), 1))
    wood = w.wood(species.get(log.species or ""), log.species_said if log.species is None else "")
    small = f"{yard}. {w.words['tags.hint']}"
    inside = (
        element("h2", log.tag, style=f"font-size:{points:.1f}pt"),
        element("p", first_upper(wood), css="wood"),
        element("p", "; ".join(_facts(log, w)), style=f"width:{width - CODE - 8.0:.1f}mm"),
        element("p", small, css="small", style=f"width:{width - CODE - 8.0:.1f}mm"),
        _code(code_text(log.tag, address)),
    )
    return element("article", "", *inside, css="tag", style=f"width:{width:.2f}mm;height:{height:.2f}mm")


def _facts(log: Log, w: Wording) -> list[str]:
    words = w.words
    out = []
    if log.felled is not None and not log.felled.assumed:
        out.append(words.say("tags.felled", when=w.month_year(log.felled.time)))
    if log.length_cm is not None:
        out.append(words.say("tags.length", length=w.length(log.length_cm)))
    sizes = [(w.end(end.name), end.diameter_cm) for end in log.ends if end.diameter_cm is not None]
    return out + [words.say("tags.across", name=name, size=w.length(cm)) for name, cm in sizes]


def _code(text: str) -> str:
    """The code as an SVG picture; a quarter of it may be dirty (error correction Q)."""
    code = segno.make_qr(text, error="q")
    side = code.symbol_size(border=4)[0]
    path = "".join(
        f"M{x + 4} {y + 4}h1v1h-1z" for y, row in enumerate(code.matrix) for x, dark in enumerate(row) if dark
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {side} {side}" width="{CODE:g}mm" '
        f'height="{CODE:g}mm" shape-rendering="crispEdges" aria-hidden="true">'
        f'<path fill="#fff" d="M0 0h{side}v{side}H0z"/><path d="{path}"/></svg>'
    )
