"""The speech bench: how far spoken numbers can be trusted, measured through the whole product."""
