"""Learns the small change to Whisper's weights that the tool brings along."""
