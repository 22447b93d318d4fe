"""Messages to people: what is due, kept, sent and sent again."""
