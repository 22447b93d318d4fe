"""Measurements, each run by hand: `python -m tests.bench.kettle`. They print figures and name the machine."""
