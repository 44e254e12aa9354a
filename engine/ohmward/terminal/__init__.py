"""The commands, and the work screen of a terminal."""
