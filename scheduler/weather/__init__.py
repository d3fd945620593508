"""Weather: one value for all sources, its readers, its doubt."""
