"""The physics the trade needs, each function with its published source.

`copper`: resistance of a wire by gauge, length and temperature; `fuse`: when a blade opens, and
what it resists; `thermometer`: NTC thermistors; `battery`: lead-acid at rest; `can`: bus levels.
"""
