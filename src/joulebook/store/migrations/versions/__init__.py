"""The steps: each has a number, the one before it, and how to take it."""
