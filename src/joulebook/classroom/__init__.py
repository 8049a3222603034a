"""One class in one period: what a section is, how its benches stand, and what its results say together."""
