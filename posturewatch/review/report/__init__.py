"""A report of one or several practices for a teacher or a clinician: one file, as a web page or on paper."""
