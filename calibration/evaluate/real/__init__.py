"""How the program does on real people: films of one person from several cameras, players, people who talk."""
