"""The doors: HTTP in, HTTP out. Parse, ask access, call one service, shape the answer."""
