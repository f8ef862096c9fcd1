"""The data folder: SQLite database, its schema, one writer, readers, and the recorder of a running session."""
