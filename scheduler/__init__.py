"""Coatcast: when to seal log ends, which first, and why."""

from __future__ import annotations

__all__ = ["__version__"]

__version__ = "0.1.0"
