"""History in SQLite: what was heard, what it meant, and where the engine stood."""
