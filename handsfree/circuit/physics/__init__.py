"""The physics the trade needs, each function with its published source.

`copper`: wire, gauge, drop and relay coil; `fuse`; `thermometer`: NTC and platinum;
`battery`; `can`; `supply`: duty cycle and parasitic draw.
"""
