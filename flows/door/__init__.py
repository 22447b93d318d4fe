"""Who may come in: sign-in, sealed cookies, forms that cannot be forged."""
