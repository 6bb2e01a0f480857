"""The commands, one module each: what is typed, what is done, and what is said."""
