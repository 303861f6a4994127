"""The library of checks, one module each; ``rules.checks.library`` maps names to functions."""
