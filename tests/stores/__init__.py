"""Backups of stores that earlier versions wrote, kept so that every later version is held to opening them."""
