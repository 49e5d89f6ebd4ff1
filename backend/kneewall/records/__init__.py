"""Records: what happened in the field and at the office, kept as written, and what follows from it."""
