#!/usr/bin/env python3
"""Fetches recordings of real motion and leaves them as traces that cowitness can replay.

Nothing is installed and nothing but Python's own library is needed. Packages are fetched with pip, once; what is in
the cache is checked against its hash on every run.

Exit status: 0 the traces are there, 1 something is wrong with what was fetched, 2 usage,
3 not available here (no pip or no network).
"""

import argparse
import os
import sys

sys.dont_write_bytecode = True

import archives
import camera
import wheel

DATASETS = {"wheel": wheel, "camera": camera}


def prepare(dataset, cache, out):
    """Makes the outputs of a dataset that are missing or not what they should be."""
    paths = {name: os.path.join(out, name) for name in dataset.OUTPUTS}
    stale = [name for name, path in paths.items() if archives.sha256(path) != dataset.OUTPUTS[name]]
    if stale:
        outputs = dataset.convert(cache)
        for name in dataset.OUTPUTS:
            archives.check(outputs[name], dataset.OUTPUTS[name], name)
        for name in stale:
            if os.path.exists(paths[name]):
                print(f"note: {paths[name]} had been changed; made anew", file=sys.stderr)
            archives.write(paths[name], outputs[name])
    return list(paths.values())


def main():
    here = os.path.dirname(os.path.abspath(__file__))
    default = os.environ.get("COWITNESS_CACHE") or os.path.join(os.path.dirname(os.path.dirname(here)), "target", "recordings")
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("dataset", nargs="*", help="wheel, camera; default: all")
    parser.add_argument("--cache", default=default, help="folder of the packages (default: %(default)s)")
    parser.add_argument("--out", help="folder of the traces (default: that of the packages)")
    args = parser.parse_args()
    for name in args.dataset:
        if name not in DATASETS:
            parser.error(f"unknown dataset {name!r}; known are {', '.join(DATASETS)}")
    cache = os.path.abspath(args.cache)
    out = os.path.abspath(args.out or args.cache)
    os.makedirs(cache, exist_ok=True)
    os.makedirs(out, exist_ok=True)
    for name in args.dataset or DATASETS:
        for path in prepare(DATASETS[name], cache, out):
            print(path)


if __name__ == "__main__":
    try:
        main()
    except archives.NotAvailable as why:
        print(f"not available: {why}", file=sys.stderr)
        sys.exit(3)
    except archives.Wrong as why:
        print(f"error: {why}", file=sys.stderr)
        sys.exit(1)
