"""The text of a new yard file: the commented template with place, zone and endpoint filled in. Pure."""

from __future__ import annotations

import re
from collections.abc import Mapping

from scheduler.settings import Endpoint

__all__ = ["terms", "yard_text"]


def yard_text(
    template: str,
    lat: float,
    lon: float,
    zone: str,
    units: str,
    url: str | None,
    family: str | None,
    contact: bool,
) -> str:
    """The commented yard file from the shipped template."""
    text = template
    text = re.sub(r"place = \{[^}]*\}", f"place = {{ lat = {lat:.4f}, lon = {lon:.4f} }}", text, count=1)
    text = text.replace('zone = "Europe/Berlin"', f'zone = "{zone}"', 1)
    text = text.replace('units = "metric" ', f'units = "{units}" ', 1)
    if url is not None:
        line = f'url = "{url}"' + (f'\nfamily = "{family}"' if family else "")
        text = re.sub(r'^# url = "https.*$', lambda _: line, text, count=1, flags=re.M)
    if contact:
        text = text.replace('# contact = "me@example.org"  ', 'contact = "me@example.org"  ', 1)
    return text


def terms(services: Mapping[str, Endpoint]) -> list[str]:
    """The open services with their terms, as comment lines."""
    lines = [
        "",
        "# Open weather services. Choice and terms are yours: read them there before you rely on them.",
    ]
    for name, service in services.items():
        lines += ["#", f"# {name}: {service.title}", f'#   url = "{service.url}"', f"#   {service.terms}"]
    return lines
