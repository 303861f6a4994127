"""Days in the shops of the invented world, played through the HTTP API exactly as a tablet would."""
