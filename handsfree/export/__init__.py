"""Jobs for other programs: tidy tables, captions of what was said, and whole jobs in an archive.

`ucum` and `tidy` are pure; `tables`, `captions` and `bundle` write bytes.
"""

from handsfree.export.bundle import Packed, pack, pick
from handsfree.export.captions import captions
from handsfree.export.tables import to_json, to_parquet, to_tidy_csv
from handsfree.export.tidy import TidyRow, export_schema, tidy
from handsfree.export.ucum import ucum

__all__ = [
    "Packed",
    "TidyRow",
    "captions",
    "export_schema",
    "pack",
    "pick",
    "tidy",
    "to_json",
    "to_parquet",
    "to_tidy_csv",
    "ucum",
]
