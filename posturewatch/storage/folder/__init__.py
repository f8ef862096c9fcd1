"""The data folder itself: the database's file, whose it is, who has it open, and what can be saved of a damaged one."""
