"""What loaftrace does, in order: commands, steps, and the Prefect flows that wrap them."""
