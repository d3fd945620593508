"""Reminders: derived from the jobs, reconciled with the queue."""
