#!/usr/bin/env python3
"""Reads the files of a folder with the libraries of `libraries.py` and holds every cell against `trace.csv` beside them.

For each file `ours*` and each library one line of JSON: the file, the library, the types that it found, and the first cell that differs, or null.
`trace.csv` is text; a cell of it is a number, a word or empty.

Exit status: 0 done, 3 not available here (no pip or no network).
"""

import csv
import json
import math
import os
import sys
from decimal import Decimal
from fractions import Fraction

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

import libraries


def of_text(cell):
    if cell == "":
        return None
    if cell in ("true", "false"):
        return cell == "true"
    if cell in ("NaN", "inf", "-inf"):
        return float(cell)
    return Fraction(cell)


def same(text, cell):
    wanted = of_text(text)
    if wanted is None or cell is None or isinstance(wanted, bool):
        return wanted is cell
    if isinstance(wanted, float):
        return isinstance(cell, float) and (cell == wanted or math.isnan(cell) and math.isnan(wanted))
    if isinstance(cell, (int, float, Decimal)) and not isinstance(cell, bool):
        return math.isfinite(cell) and Fraction(cell) == wanted
    return False


def hold(columns, rows, names):
    for name in names:
        cells = columns[name]
        if len(cells) != len(rows):
            return f"{name}: {len(cells)} rows"
        for number, (row, cell) in enumerate(zip(rows, cells)):
            if not same(row[name], cell):
                return f"{name}, row {number + 1}: {row[name]!r} and {cell!r}"
    return None


def main():
    libraries.import_from(sys.argv[1])
    import polars
    import pyarrow
    import pyarrow.feather
    import pyarrow.parquet

    folder = sys.argv[2]
    with open(os.path.join(folder, "trace.csv"), encoding="utf-8", newline="") as file:
        reader = csv.DictReader(file)
        rows, names = list(reader), reader.fieldnames
    for file in sorted(name for name in os.listdir(folder) if name.startswith("ours")):
        path = os.path.join(folder, file)
        if file.endswith(".parquet"):
            table = pyarrow.parquet.read_table(path)
            frame = polars.read_parquet(path)
        else:
            table = pyarrow.feather.read_table(path)
            frame = polars.read_ipc(path)

        def seconds(of_arrow):
            # Whole ns as they are stored; the objects of the standard library have microseconds.
            of_arrow = of_arrow.cast(pyarrow.int64())
            return [None if ns.as_py() is None else Decimal(ns.as_py()) / 10**9 for ns in of_arrow]

        columns = {}
        for name in names:
            column = table[name]
            is_time = pyarrow.types.is_temporal(column.type)
            columns[name] = seconds(column) if is_time else column.to_pylist()
        types = [str(table.schema.field(name).type) for name in names]
        print(json.dumps({"file": file, "by": "pyarrow", "types": types, "differs": hold(columns, rows, names)}))
        columns = {}
        for name in names:
            column = frame[name]
            if column.dtype.is_temporal():
                columns[name] = [None if ns is None else Decimal(ns) / 10**9 for ns in column.to_physical().to_list()]
            else:
                columns[name] = column.to_list()
        types = [str(frame[name].dtype) for name in names]
        print(json.dumps({"file": file, "by": "polars", "types": types, "differs": hold(columns, rows, names)}))


if __name__ == "__main__":
    main()
