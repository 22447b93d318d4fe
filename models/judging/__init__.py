"""The rules and what they find."""
