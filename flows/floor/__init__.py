"""The service of a floor: one owner of the store, a watched folder, a board, messages; Prefect's record after them."""
