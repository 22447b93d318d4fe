"""The store: rows kept, settled, joined, read back."""
