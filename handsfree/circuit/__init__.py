"""A circuit in a plan: what each wire should read under each condition and each fault."""
