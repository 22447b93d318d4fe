"""What each page says, worked out before it is drawn."""
