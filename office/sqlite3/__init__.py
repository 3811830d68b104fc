"""Django's backend for SQLite, but for how a writer waits its turn."""
