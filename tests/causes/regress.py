#!/usr/bin/env python3
"""Solves the regressions of a decomposition anew, with a general-purpose statistics library.

The library is statsmodels 0.15.0 (PyPI, BSD licence), with numpy, scipy and pandas, which it needs. Their wheels are of this platform, so they are pinned by
version; pip puts them into a folder of the cache once, and they are imported from there: nothing is installed.

For each folder that is named, with `samples.csv` and `regression.json`, one line of JSON: coefficients and standard errors after Newey and West. Every column
is worked out here from the positions, speeds and accelerations of the samples and from nothing else.

Exit status: 0 done, 3 not available here (no pip or no network).
"""

import csv
import json
import math
import os
import shutil
import subprocess
import sys
import tempfile

sys.dont_write_bytecode = True
PINS = ["statsmodels==0.15.0", "numpy==2.4.6", "scipy==1.17.1", "pandas==3.1.1"]


def import_library(cache):
    name = f"statsmodels-0.15.0-py{sys.version_info.major}.{sys.version_info.minor}"
    folder = os.path.join(cache, name)
    if not os.path.isdir(folder):
        print("fetching " + " ".join(PINS), file=sys.stderr)
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
                print(f"not available: pip could not fetch {' '.join(PINS)}\n{said}", file=sys.stderr)
                sys.exit(3)
            try:
                os.replace(os.path.join(fresh, name), folder)
            except OSError:
                # Another run was faster.
                if not os.path.isdir(folder):
                    raise
    sys.path.insert(0, folder)
    import statsmodels.api

    return statsmodels.api


def play(x, width):
    p, found = x[0], []
    for here in x:
        p = min(max(p, here - width / 2), here + width / 2)
        found.append((here - p) / width)
    return found


def rise(t, start, end):
    return [min(max((at - start) / (end - start), 0.0), 1.0) for at in t]


def column(rows, what):
    """A column of the regression by its description."""
    kind = what["of"]
    t, x, v, a = (rows[name] for name in ("t", "x", "v", "a"))
    n = len(t)
    if kind == "one":
        return [1.0] * n
    if kind in ("travel", "speed", "acceleration", "time"):
        return {"travel": x, "speed": v, "acceleration": a, "time": t}[kind]
    if kind == "play":
        return play(x, what["width"])
    if kind in ("sine", "cosine"):
        wave = math.sin if kind == "sine" else math.cos
        return [wave(2 * math.pi * here / what["period"]) for here in rows["x" + what["by"]]]
    if kind == "rise":
        return rise(t, what["from"], what["until"])
    if kind == "speed-since":
        return [part * speed for part, speed in zip(rise(t, what["from"], what["until"]), v)]
    if kind == "box":
        return [1.0 if what["from"] <= row < what["until"] else 0.0 for row in range(n)]
    if kind == "travel-since":
        first = what["from"]
        travel = [here + speed * age for here, speed, age in zip(rows["x" + what["side"]], v, rows["age" + what["side"]])]
        return [travel[row] - travel[first - 1] if row >= first else 0.0 for row in range(n)]
    raise ValueError(kind)


def parts_of_travel(rows, trusted, trip):
    """What either channel makes of the travel of the axis, row by row: a failed one, from where it failed, less or backwards."""
    n = len(rows["t"])
    parts = {"a": [1.0] * n, "b": [1.0] * n}
    if trusted is not None:
        healthy, before = trusted["side"], trusted["from"] - 1
        failed = {"a": "b", "b": "a"}[healthy]
        went = {side: rows["x" + side][max(trip, before + 1)] - rows["x" + side][before] for side in "ab"}
        part = min(max(went[failed] / went[healthy], -1.0), 1.0)
        parts[failed] = [part if row > before else 1.0 for row in range(n)]
    return parts


def main():
    cache, folders = sys.argv[1], sys.argv[2:]
    os.makedirs(cache, exist_ok=True)
    api = import_library(cache)
    import numpy

    for folder in folders:
        with open(os.path.join(folder, "samples.csv"), encoding="ascii") as file:
            table = list(csv.DictReader(file))
        rows = {name: [float(row[name]) for row in table] for name in table[0]}
        with open(os.path.join(folder, "regression.json"), encoding="ascii") as file:
            regression = json.load(file)
        x = numpy.column_stack([column(rows, one["column"]) for one in regression["coefficients"]])
        parts = parts_of_travel(rows, regression["trusted"], regression["trip"])
        aged = {side: numpy.array(parts[side]) * numpy.array(rows["age" + side]) for side in "ab"}
        ages = (aged["b"] - aged["a"]) * numpy.array(rows["v"])
        y = numpy.array(rows["xa"]) - numpy.array(rows["xb"]) - ages
        # Columns of like length: the library goes by singular values and leaves out what looks small.
        length = numpy.sqrt((x * x).sum(axis=0))
        fit = api.OLS(y, x / length).fit(cov_type="HAC", cov_kwds={"maxlags": regression["lags"]})
        print(json.dumps({"coefficients": list(fit.params / length), "errors": list(fit.bse / length)}))


if __name__ == "__main__":
    main()
