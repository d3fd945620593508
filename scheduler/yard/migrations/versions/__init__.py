"""One script per revision."""
