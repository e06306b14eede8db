"""The fault campaign: what is done to a dictation, and what is left of it."""
