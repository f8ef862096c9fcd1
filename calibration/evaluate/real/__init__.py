"""How the program does on real people: videos of one person from several cameras, players, people who talk."""
