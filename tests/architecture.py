"""The picture of the parts of the program, drawn from its imports; run this file to draw it anew.

Folders and files at the top of ``scheduler/`` are rows, in the order of dependence; a row is marked below
each part that it imports, but those that nearly all import are told in words instead. A thick bar marks a
part with effects. ``demo/architecture.svg`` is kept up to date by a test.
"""

from __future__ import annotations

from collections import Counter
from html import escape
from pathlib import Path

from test_import_order import FILES, imports_of, is_edge, line_of

PICTURE = Path(__file__).parents[1] / "demo" / "architecture.svg"

# What a part is for, in a few words; a part without a line here makes the test fail.
SAYS = {
    "units": "what people type",
    "weather": "answers to hourly weather, doubt, learning",
    "coating": "face, film, product",
    "rules": "rules as data, spans",
    "wood": "end grain, value, storage",
    "yard": "entries, facts, store",
    "planning": "jobs, worth, verdict, season",
    "reminders": "wanted, queue, channels",
    "replay": "recorded seasons again",
    "views": "text, calendar, pictures",
    "web": "page and feed",
    "records": "learned, scored, past years",
    "delivery": "claim, send, write down; health",
    "service": "what happens when",
    "running": "rounds, the bell, backup",
    "commands": "the command line",
}
# Files of the top folder that make up one part between them.
JOINED = {
    "moments": "units",
    "places": "units",
    "learning": "records",
    "scored": "records",
    "seasons": "records",
    "sources": "service",
    "selfcheck": "service",
    "health": "delivery",
    "backup": "running",
    "tick": "running",
    "serve": "running",
    "web/keys": "running",  # the secrets: a command shows and changes the calendar's
    "cli": "commands",
    "demo": "commands",
    "__main__": "commands",
}
EVERYWHERE = ("settings", "clocks")  # imported by nearly all: said in the caption
CELL, LEFT, TOP = 50, 300, 60


def part_of(name: str) -> str | None:
    """The part that a file belongs to; None for what is everybody's."""
    head = name.split("/")[0].removesuffix(".py")
    head = JOINED.get(name.removesuffix(".py"), JOINED.get(head, head))
    return None if head in ("__init__", *EVERYWHERE) else head


def parts() -> dict[str, int]:
    """Parts, by the last line of the table of order on which one of their files stands."""
    first: dict[str, int] = {}
    for name in FILES:
        part, line = part_of(name), line_of(name)
        if part is not None and line is not None:
            first[part] = max(first.get(part, 0), line)
    return dict(sorted(first.items(), key=lambda item: item[1]))


def arrows() -> Counter[tuple[str, str]]:
    """How many files of the first part import one of the second."""
    found: Counter[tuple[str, str]] = Counter()
    for name, path in FILES.items():
        own = part_of(name)
        targets = {part_of(t) for t in imports_of(name, path.read_text(encoding="utf-8"), FILES)}
        found.update((own, t) for t in targets if own and t and t != own)
    return found


def effects(part: str) -> int:
    """Files of a part that may touch the world."""
    return sum(part_of(name) == part and is_edge(name) for name in FILES)


def svg() -> str:
    """The picture, the same for the same imports: each row is marked below what it imports."""
    order = list(parts())
    count = arrows()
    side = CELL * len(order)
    width, height = LEFT + side + 20, TOP + side + 20
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
        f'height="{height}" font-family="sans-serif" role="img">',
        "<title>Parts of the program and what each imports</title>",
        f'<rect width="{width}" height="{height}" fill="#fff"/>',
        f'<text x="16" y="24" font-size="15" fill="#222">A part imports only from parts above it. All read '
        f"{' and '.join(EVERYWHERE)}.</text>",
        '<text x="16" y="44" font-size="13" fill="#555">Number: files of the row that import from the '
        "column. Thick bar: some files touch disk, net or clock.</text>",
    ]
    for k, part in enumerate(order):
        y, files = TOP + k * CELL, sum(part_of(name) == part for name in FILES)
        out.append(
            f'<rect x="16" y="{y}" width="{LEFT - 16 + k * CELL}" height="{CELL}" fill="#f6f1e7" '
            'stroke="#fff"/>'
        )
        if effects(part):
            out.append(f'<rect x="16" y="{y + 1}" width="6" height="{CELL - 2}" fill="#4b3f30"/>')
        out.append(
            f'<text x="30" y="{y + 18}" font-size="15" fill="#222">{escape(part)} '
            f'<tspan fill="#777">{files}</tspan></text>'
            f'<text x="30" y="{y + 34}" font-size="12" fill="#555">{escape(SAYS[part])}</text>'
        )
        x = LEFT + k * CELL
        out.append(f'<rect x="{x}" y="{y}" width="{CELL}" height="{CELL}" fill="#4b3f30" stroke="#fff"/>')
        out.append(
            f'<text x="{x + CELL / 2:.0f}" y="{y + 29}" font-size="10" fill="#fff" text-anchor="middle">'
            f"{escape(part)}</text>"
        )
        for j, other in enumerate(order[:k]):
            if (n := count[part, other]) == 0:
                continue
            shade = min(0.15 + 0.07 * n, 0.85)
            middle = LEFT + j * CELL + CELL / 2
            ink = "#fff" if shade > 0.5 else "#222"
            out.append(
                f'<rect x="{LEFT + j * CELL + 3}" y="{y + 3}" width="{CELL - 6}" height="{CELL - 6}" rx="6" '
                f'fill="#7a4a12" fill-opacity="{shade:.2f}"><title>{part} imports {other}: {n}</title>'
                "</rect>"
                f'<text x="{middle:.0f}" y="{y + 30}" font-size="14" fill="{ink}" text-anchor="middle">'
                f"{n}</text>"
            )
    out.append("</svg>\n")
    return "\n".join(out)


def main() -> None:
    """Write the picture."""
    PICTURE.write_text(svg(), encoding="utf-8")
    print(f"{PICTURE}: {len(parts())} parts")


if __name__ == "__main__":
    main()
