"""The interface for programs against its own document: schemathesis asks every operation with data that fits the OpenAPI
document and data that does not, first with identifiers made up, then with those of a real job, car and lot.

It finds a server error, an answer whose status, type or form the document does not name, data accepted that the document
forbids. Data that fits the document may still be refused by the rules of the work (422), so that is no finding.

Usage: interface.py PROGRAM.
"""

import json
import pathlib
import subprocess
import sys
import tempfile
import urllib.request

RULES = """
seed = 614
max-failures = 20
[generation]
max-examples = {examples}
[checks.positive_data_acceptance]
expected-statuses = ["2xx", "404", "409", "415", "422"]
"""
REAL = """
[[operations]]
include-path-regex = "/{kind}/"
parameters = {{ "path.id" = "{one}" }}
"""


def served(program, folder):
    command = [program, "demo", "--serve", "--address", "127.0.0.1:0", "--out", folder]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    for line in process.stdout:
        if "http://" in line:
            return process, next(w for w in line.split() if w.startswith("http://")).rstrip("/")
    raise SystemExit("the bench ended before it listened")


def get(base, path):
    with urllib.request.urlopen(base + path, timeout=60) as reply:
        return json.load(reply)


def asked(base, folder, name, rules):
    config = pathlib.Path(folder) / f"{name}.toml"
    config.write_text(rules)
    tool = pathlib.Path(sys.executable).with_name("schemathesis")
    command = [tool, "--config-file", config, "run", f"{base}/api/v1/openapi.json", "--checks", "all", "--no-color"]
    return subprocess.run(command, cwd=folder).returncode != 0


def main():
    failed = 0
    with tempfile.TemporaryDirectory() as folder:
        bench, base = served(sys.argv[1], folder)
        try:
            failed |= asked(base, folder, "made-up", RULES.format(examples=12))
            rules = RULES.format(examples=25)
            jobs = get(base, "/api/v1/jobs")
            lots = get(base, "/api/v1/lots")
            for kind, one in (("jobs", jobs[0]["id"]), ("cars", jobs[0]["car"]), ("lots", lots[0]["id"])):
                rules += REAL.format(kind=kind, one=one)
            failed |= asked(base, folder, "real", rules)
            # Whatever was sent, the chain is whole.
            print("whole after all that:", get(base, "/api/v1/verify"))
        finally:
            bench.terminate()
            bench.wait()
    sys.exit(failed)


main()
