"""How logs get in: files to sheets, cells to values."""
