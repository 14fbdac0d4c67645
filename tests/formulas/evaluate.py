#!/usr/bin/env python3
"""Evaluates past-time formulas of signal temporal logic on traces, with a general-purpose runtime-verification library.

The library is rtamt 0.4.10 (PyPI, BSD licence) with its parser runtime antlr4-python3-runtime 4.7 (PyPI, BSD licence). Both are
fetched with pip once, checked against their hash on every run, and imported from where they lie: nothing is installed.

For each trace that is named, one line of JSON: for each monitor and channel the first row at which its formula holds, or null.
Positions, speeds and accelerations are worked out here from the counts of the trace and from nothing else.

Exit status: 0 done, 1 something is wrong with what was fetched, 3 not available here (no pip or no network).
"""

import csv
import io
import json
import os
import sys
import tarfile
import typing
import zipfile

sys.dont_write_bytecode = True
HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(os.path.dirname(HERE), "recordings"))

import archives

LIBRARY = ("rtamt==0.4.10", "rtamt-0.4.10-py3-none-any.whl",
           "17cc8604e81d8ff6f4842a520664df334dc44691ec73eefef9952e6edc2801c5", [])
PARSER = ("antlr4-python3-runtime==4.7", "antlr4-python3-runtime-4.7.tar.gz",
          "df12103a041553807e510f315542d36f48e43bdb9c444c5195ae4247cde799c7",
          ["--no-binary", "antlr4-python3-runtime"])
WINDOW = 8  # rows of 1 ms
# Millimetres a count.
CHANNELS = {"a": 0.001, "b": -0.002}

# One row is one step of time. `historically[0:n]` holds at a row at which its argument held at that and the n rows before it.
FORMULAS = {
    "slow": "historically[0:10]((d > 0.5) and (abs(v) > 250.03))",
    "hold": "historically[0:10]((d > 0.5) and ((abs(gone) > 8.0005) or (abs(v) > 240.03)))",
    "range": "historically[0:5]((d > 0.5) and ((v < -600.03) or (v > 100.03)))",
    "way": "(d > 0.5) and (back > 0.5005)",
    "shock": "historically[0:4](abs(a) > 4000.3)",
    "step": "(d > 0.5) and (abs(gone) > 10.0005)",
    "fence": "historically[0:3]((x < -50.0005) or (x > 400.0005))",
    "fast": "abs(v) > 600.03",
    "never": "abs(v) > 12000.03",
}


def import_library(cache):
    wheel = archives.fetch(cache, *LIBRARY)
    source = archives.fetch(cache, *PARSER)
    parser = os.path.join(cache, "antlr4-python3-runtime-4.7.zip")
    data = io.BytesIO()
    with tarfile.open(source) as tar, zipfile.ZipFile(data, "w") as packed:
        for member in tar.getmembers():
            _, _, path = member.name.partition("/src/")
            if member.isfile() and path.startswith("antlr4/"):
                packed.writestr(zipfile.ZipInfo(path), tar.extractfile(member).read())
    archives.write(parser, data.getvalue())
    sys.path[:0] = [wheel, parser]
    # What the parser runtime imports is gone from newer versions of Python.
    sys.modules.setdefault("typing.io", typing)
    import rtamt
    return rtamt


def difference(values, over, unknown):
    """The change over so many rows, per second; `unknown` before there are so many."""
    rates = [(later - earlier) / (over / 1000) for earlier, later in zip(values, values[over:])]
    return [unknown] * over + rates


def since_demand(x, demanded):
    """The travel from where the axis was when the demand began, and back from the furthest point since."""
    gone, back, reference, furthest = [], [], None, None
    for here, active in zip(x, demanded):
        if not active:
            reference = None
        elif reference is None:
            reference = furthest = here
        furthest = max(furthest, here) if active else None
        gone.append(here - reference if active else 0.0)
        back.append(furthest - here if active else 0.0)
    return gone, back


def signals(rows, channel, monitor):
    x = [int(row[channel]) * CHANNELS[channel] for row in rows]
    v = difference(x, WINDOW, 0.0)
    a = [0.0] * (2 * WINDOW) + difference(v[WINDOW:], WINDOW, 0.0)[WINDOW:]
    demanded = [row.get(monitor, "1") == "1" for row in rows]
    gone, back = since_demand(x, demanded)
    return {"x": x, "v": v, "a": a, "gone": gone, "back": back, "d": [float(d) for d in demanded]}


def first(rtamt, formula, values):
    spec = rtamt.StlDiscreteTimeSpecification()
    for name in values:
        spec.declare_var(name, "float")
    spec.spec = formula
    spec.parse()
    data = {"time": list(range(len(values["x"]))), **values}
    return next((int(row) for row, robustness in spec.evaluate(data) if robustness > 0), None)


def main():
    cache, traces = sys.argv[1], sys.argv[2:]
    os.makedirs(cache, exist_ok=True)
    rtamt = import_library(cache)
    for trace in traces:
        with open(trace, encoding="ascii") as file:
            rows = list(csv.DictReader(file))
        found = {
            monitor: {channel: first(rtamt, formula, signals(rows, channel, monitor)) for channel in CHANNELS}
            for monitor, formula in FORMULAS.items()
        }
        print(json.dumps(found))


if __name__ == "__main__":
    try:
        main()
    except archives.NotAvailable as why:
        print(f"not available: {why}", file=sys.stderr)
        sys.exit(3)
    except archives.Wrong as why:
        print(f"error: {why}", file=sys.stderr)
        sys.exit(1)
