"""Causes: a change of specific volume traced to paste, yeast, handling, or left unexplained."""
