"""Backups: all that is kept, or one session, in one archive (`posturewatch.archive`), and back from it.

What is in an archive is copied row by row into a database that this program makes itself, so that nothing of a foreign
one comes along but rows that have been looked at.
"""
