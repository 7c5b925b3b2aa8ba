"""One module per form of the database, oldest first. A published one is never changed."""
