"""The yard: facts, what follows from them, and where they are kept."""
