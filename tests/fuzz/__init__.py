"""Fuzzing: inputs of chance for everything that reads what people and strangers write."""
