"""The log as a report that a customer or a warranty desk can read."""

from handsfree.report.html import render, report_file

__all__ = ["render", "report_file"]
