"""Other methods and their tables, worked out: what the charts are measured against. The program itself uses none of them."""
