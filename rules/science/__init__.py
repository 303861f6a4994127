"""Mathematics the checks call: no records, no verdicts, only numbers in and numbers out."""
