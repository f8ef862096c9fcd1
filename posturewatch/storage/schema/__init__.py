"""The database's tables, from the first version on."""
