"""Tidy rows as CSV, JSON and Parquet."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable
from typing import get_args

from handsfree.errors import Missing
from handsfree.export.tidy import COLUMNS_TIDY, TidyRow, export_document
from handsfree.log import JobRecord
from handsfree.showable import cell, showable


def to_tidy_csv(rows: Iterable[TidyRow]) -> bytes:
    """CSV (RFC 4180, but lines end with a newline alone) in UTF-8, with a header.

    What there is none of is an empty cell; true and false are written so.  No text is a formula
    where a spreadsheet opens it.
    """
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS_TIDY)
    for row in rows:
        writer.writerow(map(_written, row.model_dump().values()))
    return text.getvalue().encode()


def _written(value: object) -> object:
    if isinstance(value, bool):
        return "true" if value else "false"
    return cell(value)


def to_json(records: tuple[JobRecord, ...], *, history: bool = True) -> bytes:
    """Jobs and their readings by the published schema, in UTF-8."""
    document = export_document(records, history=history)
    return json.dumps(document, ensure_ascii=False, indent=1, allow_nan=False).encode() + b"\n"


def to_parquet(rows: Iterable[TidyRow]) -> bytes:
    """A Parquet file with the same columns.

    Raises:
        Missing: the extra `parquet` is not installed.
    """
    try:
        import pyarrow as pa
        import pyarrow.parquet as pq
    except ImportError as error:
        raise Missing(
            "the library for Parquet is not there", remedy="pip install 'handsfree[parquet]'"
        ) from error
    kinds = {str: pa.string(), int: pa.int64(), float: pa.float64(), bool: pa.bool_()}
    fields = []
    for name, known in TidyRow.model_fields.items():
        (kind,) = [one for one in get_args(known.annotation) or (known.annotation,) if one in kinds]
        fields.append(pa.field(name, kinds[kind]))
    dumped = [{n: _plain(v) for n, v in row.model_dump().items()} for row in rows]
    out = io.BytesIO()
    pq.write_table(pa.Table.from_pylist(dumped, pa.schema(fields)), out)
    return out.getvalue()


def _plain(value: object) -> object:
    return showable(value) if isinstance(value, str) else value
