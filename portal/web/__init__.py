"""Pages for people, one module per audience; same services as the API."""
