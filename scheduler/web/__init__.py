"""The page and the calendar feed. An edge: Starlette, templates, and the morning worked out once for all."""
