"""Tests. `python -m pytest -m "not prefect and not browser"` is the inner loop."""
