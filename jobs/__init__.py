"""The record: models, services, tasks. Speaks the database, never HTTP."""
