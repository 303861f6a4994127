"""What every test shares. The Makefile sets the environment (WM_MODE=test) before Django starts."""
