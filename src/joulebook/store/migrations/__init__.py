"""The history of the tables, a numbered step each."""
