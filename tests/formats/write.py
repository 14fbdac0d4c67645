#!/usr/bin/env python3
"""Writes the trace `trace.csv` of a folder in many ways, with the libraries of `libraries.py`, into the same folder.

For each file one line of JSON: its name, and how it was written. The trace has the columns time (seconds, in whole milliseconds), motor, rail (with
gaps) and door.

Exit status: 0 done, 3 not available here (no pip or no network).
"""

import csv
import json
import os
import sys

sys.dont_write_bytecode = True
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))

import libraries


def read(folder):
    with open(os.path.join(folder, "trace.csv"), encoding="ascii", newline="") as file:
        rows = list(csv.DictReader(file))
    time = [round(float(row["time"]) * 1000) for row in rows]
    rail = [int(row["rail"]) if row["rail"] else None for row in rows]
    return time, [int(row["motor"]) for row in rows], rail, [int(row["door"]) for row in rows]


def main():
    libraries.import_from(sys.argv[1])
    from decimal import Decimal

    import polars
    import pyarrow
    import pyarrow.feather
    import pyarrow.parquet

    folder = sys.argv[2]
    time, motor, rail, door = read(folder)

    def told(name, how):
        print(json.dumps({"file": name, "how": how}), flush=True)

    def table(of_time, of_count, of_rail, of_level, others=()):
        units = {"s": 1e-3, "ms": 1, "us": 1000, "ns": 1_000_000}
        if isinstance(of_time, pyarrow.Decimal128Type):
            times = pyarrow.array([Decimal(ms) / 1000 for ms in time], of_time)
        elif pyarrow.types.is_floating(of_time):
            times = pyarrow.array([ms / 1000 for ms in time], of_time)
        else:
            small = pyarrow.int32() if of_time.bit_width == 32 else pyarrow.int64()
            times = pyarrow.array([ms * units[of_time.unit] for ms in time], small).cast(of_time)

        def numbers(values, of):
            if isinstance(of, pyarrow.Decimal128Type):
                values = [None if value is None else Decimal(value) for value in values]
            if pyarrow.types.is_floating(of):
                values = [None if value is None else float(value) for value in values]
            return pyarrow.array(values, of)

        levels = [bool(level) for level in door] if pyarrow.types.is_boolean(of_level) else door
        columns = dict(others)
        columns |= {"time": times, "motor": numbers(motor, of_count), "rail": numbers(rail, of_rail)}
        columns["door"] = pyarrow.array(levels, of_level)
        return pyarrow.table(columns)

    a = pyarrow
    plain = table(a.float64(), a.int64(), a.int64(), a.int64())
    types = [
        ("ns", table(a.timestamp("ns"), a.int32(), a.int16(), a.int8())),
        ("us", table(a.timestamp("us"), a.uint32(), a.uint16(), a.uint8())),
        ("ms", table(a.timestamp("ms", "UTC"), a.uint64(), a.int32(), a.bool_())),
        ("dns", table(a.duration("ns"), a.float64(), a.float32(), a.float32())),
        ("dus", table(a.duration("us"), a.decimal128(12, 0), a.decimal128(30, 3), a.float64())),
        ("dms", table(a.duration("ms"), a.int64(), a.uint64(), a.uint16())),
        ("t32", table(a.time32("ms"), a.int64(), a.int64(), a.int64())),
        ("t64", table(a.time64("ns"), a.int64(), a.int64(), a.int64())),
        ("dec", table(a.decimal128(18, 6), a.int64(), a.int64(), a.bool_())),
    ]
    count = len(time)
    others = {
        "text": a.array([f"row {k}" for k in range(count)]),
        "view": a.array([f"a text that is longer than a view, row {k}" for k in range(count)], a.string_view()),
        "coded": a.array(["one", "two"] * (count // 2) + ["one"] * (count % 2)).dictionary_encode(),
        "list": a.array([[k, k + 1] for k in range(count)]),
        "inside": a.array([{"x": k, "y": str(k)} for k in range(count)]),
        "null": a.nulls(count),
        "day": a.array([k for k in range(count)], a.date32()),
        "fixed": a.array([bytes([k % 256] * 3) for k in range(count)], a.binary(3)),
    }
    crowded = table(a.float64(), a.int64(), a.int64(), a.int64(), others)

    def parquet(name, table, how, **options):
        pyarrow.parquet.write_table(table, os.path.join(folder, name), **options)
        told(name, f"pyarrow, {how}")

    for codec in ["none", "snappy", "zstd", "lz4", "gzip"]:
        for dictionary in [True, False]:
            how = f"{codec}, dictionary {dictionary}"
            parquet(f"pa-{codec}-{dictionary}.parquet", plain, how, compression=codec, use_dictionary=dictionary)
    whole = ["motor", "rail", "door"]
    for encoding in ["PLAIN", "DELTA_BINARY_PACKED", "BYTE_STREAM_SPLIT"]:
        for version in ["1.0", "2.0"]:
            encodings = {column: encoding for column in whole} | {"time": "BYTE_STREAM_SPLIT"}
            parquet(
                f"pa-{encoding}-{version}.parquet", plain, f"{encoding}, pages {version}", use_dictionary=False,
                column_encoding=encodings, data_page_version=version, row_group_size=97, data_page_size=256,
            )
    parquet("pa-crc.parquet", plain, "checksums", write_page_checksum=True, row_group_size=300)
    parquet("pa-int96.parquet", plain, "old version of the format", version="1.0")
    parquet("pa-crowded.parquet", crowded.drop_columns(["view"]), "other columns before")
    for name, typed in types:
        parquet(f"pa-type-{name}.parquet", typed, f"types {typed.schema.types}")
        parquet(f"pa-own-{name}.parquet", typed, f"types {typed.schema.types}, no schema of Arrow", store_schema=False) \
            if not name.startswith("d") or name == "dec" else None
    parquet("brotli.parquet", plain, "brotli", compression="brotli")

    def ipc(name, table, how, codec=None, stream=False, rows=None):
        options = pyarrow.ipc.IpcWriteOptions(compression=codec)
        new = pyarrow.ipc.new_stream if stream else pyarrow.ipc.new_file
        with new(os.path.join(folder, name), table.schema, options=options) as out:
            out.write_table(table, max_chunksize=rows)
        told(name, f"pyarrow, {how}")

    for codec in [None, "lz4", "zstd"]:
        for stream in [False, True]:
            kind = "stream" if stream else "file"
            ipc(f"pa-{codec}-{kind}.arrow", plain, f"{codec}, {kind}", codec, stream)
            ipc(f"pa-{codec}-{kind}-parts.arrow", plain, f"{codec}, {kind}, parts", codec, stream, 101)
            ipc(f"pa-{codec}-{kind}-crowded.arrow", crowded, f"{codec}, {kind}, other columns", codec, stream, 500)
    for name, typed in types:
        ipc(f"pa-type-{name}.arrow", typed, f"types {typed.schema.types}", "lz4")
    pyarrow.feather.write_feather(plain, os.path.join(folder, "pa.feather"))
    told("pa.feather", "pyarrow, feather")

    p = polars
    frames = [
        ("f64", p.Float64, p.Int64, p.Int64, p.Int64),
        ("ms", p.Datetime("ms"), p.Int32, p.Int16, p.Int8),
        ("us", p.Datetime("us"), p.UInt32, p.UInt16, p.UInt8),
        ("ns", p.Datetime("ns"), p.UInt64, p.Float64, p.Boolean),
        ("dms", p.Duration("ms"), p.Int64, p.Float32, p.Float32),
        ("dus", p.Duration("us"), p.Decimal(12, 0), p.Int32, p.Boolean),
        ("dns", p.Duration("ns"), p.Int64, p.Int64, p.UInt64),
    ]
    for name, of_time, of_count, of_rail, of_level in frames:
        factor = {"ms": 1, "us": 1000, "ns": 1_000_000}
        if of_time == p.Float64:
            times = p.Series([ms / 1000 for ms in time])
        else:
            times = p.Series([ms * factor[of_time.time_unit] for ms in time]).cast(of_time)
        frame = p.DataFrame({
            "time": times,
            "motor": p.Series(motor).cast(of_count),
            "rail": p.Series(rail).cast(of_rail),
            "door": p.Series(door).cast(of_level),
        })
        codecs = ["uncompressed", "snappy", "lz4", "zstd", "gzip"] if name == "f64" else ["zstd"]
        for codec in codecs:
            frame.write_parquet(os.path.join(folder, f"pl-{name}-{codec}.parquet"), compression=codec, row_group_size=400)
            told(f"pl-{name}-{codec}.parquet", f"polars, {codec}, types {frame.dtypes}")
        for codec in ["uncompressed", "lz4", "zstd"]:
            frame.write_ipc(os.path.join(folder, f"pl-{name}-{codec}.arrow"), compression=codec)
            told(f"pl-{name}-{codec}.arrow", f"polars, {codec}, types {frame.dtypes}")
        frame.write_ipc_stream(os.path.join(folder, f"pl-{name}.arrows"), compression="zstd")
        told(f"pl-{name}.arrows", f"polars, stream, types {frame.dtypes}")


if __name__ == "__main__":
    main()
