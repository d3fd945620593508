"""Values to text, JSON, iCalendar and pictures."""
