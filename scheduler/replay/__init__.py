"""A season again on recorded hours: what the program, rules of thumb and perfect foresight would have done."""
