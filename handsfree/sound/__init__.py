"""Sound files, devices, endpointing and the read-back voice."""
