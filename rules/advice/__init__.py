"""What to do next: advice computed from a judgement. It never changes one."""
