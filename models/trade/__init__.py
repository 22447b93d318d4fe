"""The trade's own arithmetic: paste, dough, loaf, net weight, and the wide rows."""
