"""The log as a report that a customer or a warranty desk can read."""

from handsfree.report.file import report_file
from handsfree.report.page import Paper, render

__all__ = ["Paper", "render", "report_file"]
