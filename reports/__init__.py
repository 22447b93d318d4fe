"""What loaftrace shows: pages and figures, made from what `models` knows and from nothing else."""
