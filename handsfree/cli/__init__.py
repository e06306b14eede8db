"""The command line."""

from handsfree.cli.app import main

__all__ = ["main"]
