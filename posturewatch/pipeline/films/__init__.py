"""Films measured from their files: in parts, by one process or many, into tables and into the practice log."""
