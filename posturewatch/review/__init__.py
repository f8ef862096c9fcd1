"""What is shown of what was kept: practice log, session document, reviews, trends, pieces, export."""
