"""What is due, and what today is good for."""
