#!/usr/bin/env python3
"""Holds JUnit XML against a published schema, and reads it with another XML parser.

The schema is junit-10.xsd (MIT licence) from the source archive of pytest 8.3.4 (PyPI). It is evaluated by xmlschema 4.3.2 with elementpath
5.1.4 (PyPI, MIT licence). All are fetched with pip once, checked against their hash on every run, and used from where they lie: nothing
is installed.

For each file that is named, one line of JSON: what the schema says against it, and its suites with their cases as a parser reads them.

Exit status: 0 done, 1 something is wrong with what was fetched, 3 not available here (no pip or no network).
"""

import json
import os
import sys
import tarfile
import tempfile
import xml.etree.ElementTree as ET
import zipfile

sys.dont_write_bytecode = True
HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.join(os.path.dirname(HERE), "recordings"))

import archives

SCHEMA = ("pytest==8.3.4", "pytest-8.3.4.tar.gz",
          "965370d062bce11e73868e0335abac31b4d3de0e82f4007408d242b4f8610761", ["--no-binary", "pytest"])
SCHEMA_MEMBER = "pytest-8.3.4/testing/example_scripts/junit-10.xsd"
LIBRARIES = [
    ("xmlschema==4.3.2", "xmlschema-4.3.2-py3-none-any.whl",
     "cf5c970a30f6ebcb3da35260e694704cc0b6794d8ace46125bb2a95e38ed9307", []),
    ("elementpath==5.1.4", "elementpath-5.1.4-py3-none-any.whl",
     "5ec8d7bb44b16c98414a6a95e20cb150f3cbfc3cac65edc14773288c7a937376", []),
]


def schema(cache, folder):
    """The schema, by a library that is unpacked into a folder: it reads schemas of its own, beside its code."""
    for library in LIBRARIES:
        with zipfile.ZipFile(archives.fetch(cache, *library)) as wheel:
            wheel.extractall(folder)
    sys.path.insert(0, folder)
    import xmlschema
    with tarfile.open(archives.fetch(cache, *SCHEMA)) as tar:
        text = tar.extractfile(SCHEMA_MEMBER).read().decode("utf-8")
    return xmlschema.XMLSchema(text)


def case(element):
    children = {child.tag: child for child in element}
    failed = children.get("failure", children.get("error"))
    return {
        "name": element.get("name"),
        "classname": element.get("classname"),
        "children": sorted(children),
        "message": None if failed is None else failed.get("message"),
        "text": None if failed is None else failed.text,
    }


def suite(element):
    counts = {name: int(element.get(name)) for name in ("tests", "failures", "errors")}
    return {
        "name": element.get("name"),
        **counts,
        "cases": [case(child) for child in element.findall("testcase")],
        "out": element.findtext("system-out"),
    }


def main():
    cache, files = sys.argv[1], sys.argv[2:]
    os.makedirs(cache, exist_ok=True)
    with tempfile.TemporaryDirectory() as folder:
        published = schema(cache, folder)
        for file in files:
            against = [f"{error.path}: {error.reason}" for error in published.iter_errors(file)]
            suites = [suite(child) for child in ET.parse(file).getroot()]
            print(json.dumps({"against": against, "suites": suites}))


if __name__ == "__main__":
    try:
        main()
    except archives.NotAvailable as why:
        print(f"not available: {why}", file=sys.stderr)
        sys.exit(3)
    except archives.Wrong as why:
        print(f"error: {why}", file=sys.stderr)
        sys.exit(1)
