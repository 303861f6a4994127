"""One module per resource: parse, access, one service, shape."""
