"""Two general-purpose libraries of typed columns, from PyPI.

They are pyarrow 26.0.1 (Apache-2.0) and polars 2.1.0 (MIT). Their wheels are of this platform, so they are pinned by version; pip puts them
into a folder of the cache once, and they are imported from there: nothing is installed.
"""

import os
import subprocess
import sys
import tempfile

PINS = ["pyarrow==26.0.1", "polars==2.1.0"]


def import_from(cache):
    """Makes both importable; ends this program with 3 where they cannot be had."""
    name = f"tables-1-py{sys.version_info.major}.{sys.version_info.minor}"
    folder = os.path.join(cache, name)
    if not os.path.isdir(folder):
        os.makedirs(cache, exist_ok=True)
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
