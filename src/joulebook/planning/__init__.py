"""Simulated benches, and later the planning of real ones."""
