"""Timings of the judgement against general-purpose rule engines and against floors; see ``judgement``."""
