"""What the wall sheet and the log tags share: paper sizes, and HTML with every text escaped. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from typing import Literal

__all__ = ["PAPERS", "Paper", "PaperName", "document", "element"]

PaperName = Literal["a4", "letter"]


@dataclass(frozen=True, slots=True)
class Paper:
    """A sheet of paper and what of it is printed on, mm."""

    css: str  # name in CSS
    width: float
    height: float
    margin: float = 10.0

    @property
    def inner(self) -> tuple[float, float]:
        """Width and height inside the margins; a millimetre less than there is, since printers round."""
        return self.width - 2 * self.margin, self.height - 2 * self.margin - 1.0


# ISO 216 and ANSI Y14.1 sizes.
PAPERS: dict[PaperName, Paper] = {"a4": Paper("A4", 210.0, 297.0), "letter": Paper("letter", 215.9, 279.4)}


def element(name: str, text: str = "", *inside: str, css: str = "", style: str = "") -> str:
    """An element: ``text`` is escaped, ``inside`` is HTML made here."""
    marks = (f' class="{escape(css)}"' if css else "") + (f' style="{escape(style)}"' if style else "")
    return f"<{name}{marks}>{escape(text)}{''.join(inside)}</{name}>"


def document(title: str, language: str, paper: Paper, css: str, body: str) -> str:
    """A whole page that prints on that paper; nothing is fetched from anywhere."""
    width, height = paper.inner
    page = (
        f"@page {{ size: {paper.css} portrait; margin: {paper.margin:g}mm }}\n"
        "* { box-sizing: border-box; margin: 0; padding: 0 }\n"
        "html { color: #000; background: #fff; font-family: 'Liberation Sans', Arial, Helvetica, sans-serif;"
        " -webkit-print-color-adjust: exact; print-color-adjust: exact }\n"
        f".paper {{ width: {width:g}mm; height: {height:g}mm; overflow: hidden; margin: 0 auto }}\n"
    )
    return (
        f'<!doctype html>\n<html lang="{escape(language)}">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>\n{page}{css}</style>\n</head>\n<body>\n{body}\n</body>\n"
        "</html>\n"
    )
