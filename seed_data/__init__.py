"""An invented bakery: its plant file, the generator of its logs, and a small sample of them."""
