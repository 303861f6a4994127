"""The judgement: facts and packs in, verdicts out. Standard library only; no clock, no files, no network."""

ENGINE_VERSION = "2"
