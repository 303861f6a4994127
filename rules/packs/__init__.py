"""The pack language: model, strict reader, triggers, layering, examples."""
