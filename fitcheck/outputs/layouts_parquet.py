"""A batch of layouts as a Parquet file: the columns of the CSV, with their types."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import islice
from typing import Any, BinaryIO

from fitcheck.layouts.columns import Kind, columns_of, rows_of
from fitcheck.layouts.read import Layouts
from fitcheck.layouts.summary import Record

# Rows that are held before they are written: some 10 MB.
GROUP = 20_000


def can_write_parquet() -> bool:
    """Whether the optional library is there (`pip install fitcheck[parquet]`)."""
    try:
        import pyarrow  # noqa: F401
    except ImportError:
        return False
    return True


def write_parquet(file: BinaryIO, layouts: Layouts, records: Iterable[Record]) -> None:
    """Write a row a layout, in the order in which they come, holding no more than some of them.

    Raises:
        ImportError: the optional library is not installed.
    """
    import pyarrow
    from pyarrow import parquet

    types = {
        Kind.WHOLE: pyarrow.int64(),
        Kind.NUMBER: pyarrow.float64(),
        Kind.FLAG: pyarrow.bool_(),
        Kind.TEXT: pyarrow.string(),
    }
    columns = columns_of(layouts)
    schema = pyarrow.schema([(column.title, types[column.kind]) for column in columns])
    rows = iter(rows_of(layouts, records))
    with parquet.ParquetWriter(file, schema, compression="zstd") as writer:
        while group := list(islice(rows, GROUP)):
            cells: list[Any] = [
                pyarrow.array([row[at] for row in group], kind) for at, kind in enumerate(schema.types)
            ]
            writer.write_table(pyarrow.Table.from_arrays(cells, schema=schema), row_group_size=GROUP)
