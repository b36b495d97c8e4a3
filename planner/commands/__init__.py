"""The commands, one a module: each reads its files, does one thing with them and prints it."""
