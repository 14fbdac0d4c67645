#!/usr/bin/env python3
"""Writes MDF4 files with a general-purpose library for such files, and says what is in them.

The library is asammdf 8.8.28 (PyPI, LGPL licence: used here as a program beside the tests, no part of anything), with what it needs. Wheels are of this
platform, so they are pinned by version; pip puts them into a folder of the cache once, and they are imported from there: nothing is
installed.

The folder that is named gets the files, or those of them that are named behind it. For each, one line of JSON: its name and its groups, each with its columns: name, unit, how the
values are told (`i` whole numbers, `f` the 64 bits of a float as a number, `x` none), the values, and which are valid (null: all).
What is told is what was put in: raw numbers, or their conversions worked out here.

Exit status: 0 done, 3 not available here (no pip or no network).
"""

import json
import logging
import os
import subprocess
import sys
import tempfile

sys.dont_write_bytecode = True
PINS = [
    "asammdf==8.8.28",
    "numpy==2.4.6",
    "pandas==3.1.1",
    # What these need.
    "attrs==26.1.0",
    "canmatrix==1.2",
    "chardet==7.7.0",
    "click==8.5.1",
    "deflate==0.9.0",
    "isal==1.9.1",
    "lxml==6.1.3",
    "lz4==4.4.5",
    "numexpr==2.14.2",
    "python-dateutil==4.0.0",
    "typing_extensions==4.16.0",
    "tzdata==2026.6",
    "zstd==1.5.7.2",
]


def import_library(cache):
    name = f"asammdf-8.8.28-py{sys.version_info.major}.{sys.version_info.minor}"
    folder = os.path.join(cache, name)
    if not os.path.isdir(folder):
        print("fetching " + PINS[0], file=sys.stderr)
        with tempfile.TemporaryDirectory(dir=cache, prefix=".fetch-") as fresh:
            command = [sys.executable, "-m", "pip", "install", "--quiet", "--no-input", "--only-binary", ":all:"]
            command += ["--target", os.path.join(fresh, name)] + PINS
            try:
                done = subprocess.run(
                    command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, timeout=900, check=False
                )
            except (OSError, subprocess.TimeoutExpired) as why:
                print(f"not available: {why}", file=sys.stderr)
                sys.exit(3)
            if done.returncode != 0:
                said = done.stdout.decode("utf-8", "replace").strip()
                print(f"not available: pip could not fetch {PINS[0]}\n{said}", file=sys.stderr)
                sys.exit(3)
            try:
                os.replace(os.path.join(fresh, name), folder)
            except OSError:
                # Another run was faster.
                if not os.path.isdir(folder):
                    raise
    sys.path.insert(0, folder)
    logging.disable(logging.CRITICAL)


class Group:
    """Signals of one time base in the making, and what is told of them."""

    def __init__(self, name, times):
        import numpy

        self.name, self.times, self.signals = name, times, []
        self.told = [told("time", "s", times.astype(numpy.float64))]

    def add(self, name, unit, raw, conversion=None, invalid=None, is_text=False):
        import numpy
        from asammdf import Signal

        extra = {"invalidation_bits": invalid} if invalid is not None else {}
        if raw.dtype.kind == "S":
            extra["encoding"] = "utf-8"
        self.signals.append(
            Signal(raw, self.times, name=name, unit=unit, conversion=conversion, comment=f"{name} & <its> comment", **extra)
        )
        if is_text:
            self.told.append({"name": name, "unit": unit, "as": "x", "values": [], "valid": None})
            return
        values = raw
        if conversion is not None:
            values = numpy.float64(conversion["b"]) + numpy.float64(conversion["a"]) * raw.astype(numpy.float64)
        one = told(name, unit, values)
        one["valid"] = None if invalid is None else [not bool(bit) for bit in invalid]
        self.told.append(one)


def told(name, unit, values):
    import numpy

    if values.dtype.kind == "b":
        return {"name": name, "unit": unit, "as": "i", "values": values.astype(int).tolist(), "valid": None}
    if values.dtype.kind == "f":
        bits = values.astype(numpy.float64).view(numpy.uint64)
        return {"name": name, "unit": unit, "as": "f", "values": bits.tolist(), "valid": None}
    return {"name": name, "unit": unit, "as": "i", "values": [int(value) for value in values], "valid": None}


def fast(rows):
    """Every width and sign, in both byte orders, floats, a conversion, bits that are not valid, names and units that are not ASCII."""
    import numpy

    random = numpy.random.default_rng(rows)
    group = Group("fast", numpy.arange(rows) * 0.000125)
    for order in "<>":
        for kind in ("u1", "u2", "u4", "u8", "i1", "i2", "i4", "i8"):
            dtype = numpy.dtype(order + kind)
            ends = numpy.iinfo(dtype)
            values = random.integers(ends.min, ends.max, rows, dtype=dtype.newbyteorder("="), endpoint=True)
            if rows > 1:
                values[0], values[1] = ends.min, ends.max
            group.add(f"{kind}{'' if order == '<' else ' big'}", "counts", values.astype(dtype))
        for kind in ("f4", "f8"):
            dtype = numpy.dtype(order + kind)
            values = random.normal(0, 1e6, rows).astype(dtype.newbyteorder("="))
            group.add(f"{kind}{'' if order == '<' else ' big'}", "mm/s", values.astype(dtype))
    group.add("Größe", "°C", random.integers(0, 4096, rows, dtype=numpy.uint16), {"a": 0.0625, "b": -40.1})
    group.add("negative", "mm", random.integers(-(2**31), 2**31, rows, dtype=numpy.int32), {"a": -0.001, "b": 0.0})
    group.add("float32", "mm", random.normal(0, 100, rows).astype(numpy.float32), {"a": 0.1, "b": 3.0})
    group.add("flag", "", random.integers(0, 2, rows).astype(bool))
    group.add("gappy", "", random.integers(0, 9, rows, dtype=numpy.uint8), invalid=random.random(rows) < 0.3)
    group.add("state", "", random.integers(0, 2, rows, dtype=numpy.uint8),
              {"val_0": 0, "text_0": b"off", "val_1": 1, "text_1": b"on", "default": b""}, is_text=True)
    group.add("note", "", numpy.array([b"abc"] * rows), is_text=True)
    return group


def slow(rows):
    import numpy

    group = Group("slow", 0.5 + numpy.arange(rows) * 0.04)
    group.add("u1", "counts", numpy.arange(rows).astype(numpy.uint8))
    group.add("only here", "V", numpy.linspace(-1, 1, rows))
    return group


def write(path, version, groups, compression, parts=1):
    from asammdf import MDF

    with MDF(version=version) as mdf:
        for group in groups:
            rows = len(group.times)
            first = rows // parts
            begin = [part(signal, 0, first) for signal in group.signals]
            index = mdf.append(begin, acq_name=group.name, comment="made for a test")
            for number in range(1, parts):
                start, stop = number * first, rows if number == parts - 1 else (number + 1) * first
                pieces = [(group.times[start:stop], None)]
                for signal in group.signals:
                    bits = signal.invalidation_bits
                    pieces.append((signal.samples[start:stop], None if bits is None else bits[start:stop]))
                mdf.extend(index, pieces)
        mdf.save(path, overwrite=True, compression=compression)


def part(signal, start, stop):
    from asammdf import Signal

    bits = signal.invalidation_bits
    return Signal(signal.samples[start:stop], signal.timestamps[start:stop], name=signal.name, unit=signal.unit,
                  comment=signal.comment, conversion=signal.conversion, encoding=signal.encoding,
                  invalidation_bits=None if bits is None else bits[start:stop])


def main():
    cache, folder, *only = sys.argv[1:]
    os.makedirs(cache, exist_ok=True)
    os.makedirs(folder, exist_ok=True)
    import_library(cache)
    # 40000 rows of some 125 bytes are several blocks, however they are packed.
    plans = [(f"{version}-{compression}-{rows}", version, compression, rows, 1)
             for version in ("4.10", "4.11", "4.20") for compression in (0, 1, 2) for rows in (0, 1, 1000)]
    plans += [(f"long-{compression}", "4.10", compression, 40000, 1) for compression in (0, 1, 2)]
    plans += [(f"extended-{compression}", "4.11", compression, 4000, 4) for compression in (0, 2)]
    for name, version, compression, rows, parts in plans:
        if only and name not in only:
            continue
        groups = [fast(rows), slow(max(rows // 10, 1))]
        file = os.path.join(folder, name + ".mf4")
        write(file, version, groups, compression, parts)
        told = [{"name": group.name, "columns": group.told} for group in groups]
        print(json.dumps({"file": file, "groups": told}))


if __name__ == "__main__":
    main()
