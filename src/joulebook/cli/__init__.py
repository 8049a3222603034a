"""The commands; each is in the module of its name and is imported when it is run."""
