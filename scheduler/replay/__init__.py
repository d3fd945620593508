"""A season again on recorded hours: the program, rules of thumb and perfect foresight side by side."""
