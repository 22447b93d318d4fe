"""What the floor sees live: plain data for the board's screens, worked out from what the service knows."""
