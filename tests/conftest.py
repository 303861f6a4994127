"""What every test shares; the environment (WM_MODE=test and so on) is set by the Makefile before Django starts."""
