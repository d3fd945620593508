"""The wood: species, volumes, the end grain."""
