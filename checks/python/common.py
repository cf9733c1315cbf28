"""What all checks share: asking the product for values, and the table of comparisons."""

import json
import os
import subprocess
import sys
from importlib import metadata
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]


def shared():
    """Folder of the open recordings, or None when it is not beside the checkout."""
    folder = Path(os.environ.get("SOOTWRIGHT_SHARED", ROOT.parent / "shared"))
    if (folder / "data" / "bus").is_dir():
        return folder
    if os.environ.get("SOOTWRIGHT_REQUIRE_SHARED") == "1":
        sys.exit(f"{folder / 'data' / 'bus'} is missing and SOOTWRIGHT_REQUIRE_SHARED=1")
    return None


def binary(name):
    """A built program of the workspace. run_all.py says where it lies."""
    folder = os.environ.get("SOOTWRIGHT_BIN")
    if not folder:
        target = Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target"))
        folder = target / "release"
    path = Path(folder) / name
    if not path.exists():
        sys.exit(f"{path} is missing: cargo build --release -p checks")
    return path


def ask(requests):
    """Sends requests to the `values` program; returns its answers in order."""
    text = "".join(json.dumps(r) + "\n" for r in requests)
    run = subprocess.run([binary("values")], input=text, capture_output=True, text=True)
    answers = [json.loads(line) for line in run.stdout.splitlines()]
    if len(answers) != len(requests):
        sys.exit(f"asked {len(requests)} times, got {len(answers)} answers: {run.stderr}")
    for request, answer in zip(requests, answers):
        if "error" in answer:
            sys.exit(f"{json.dumps(request)[:300]} was refused: {answer['error']}")
    return answers


class Table:
    """Comparisons of one check; prints them and remembers whether all agree."""

    def __init__(self, title, sources, packages):
        self.failed = 0
        self.passed = 0
        self.groups = {}
        print(f"== {title}")
        for source in sources:
            print(f"   source: {source}")
        for package in packages:
            print(f"   version: {package} {metadata.version(package)}")
        print(f"   {'what':<58} {'ours':>14} {'reference':>14} {'off':>10} {'allowed':>9}")

    def near(self, what, ours, reference, relative=0.0, absolute=0.0, show=True):
        """Ours against a reference number, within relative * |reference| + absolute."""
        off = abs(ours - reference)
        good = off <= relative * abs(reference) + absolute
        if relative:
            off, allowed = off / abs(reference) if reference else off, f"{relative:.0e} r"
        else:
            allowed = f"{absolute:.0e} a"
        self._count(good)
        if show or not good:
            mark = "" if good else "  DISAGREES"
            print(f"   {what:<58} {ours:>14.6g} {reference:>14.6g} {off:>10.1e} {allowed:>9}{mark}")

    def same(self, what, ours, reference, show=True):
        """Ours and the reference must be equal."""
        good = ours == reference
        self._count(good)
        if show or not good:
            mark = "" if good else "  DISAGREES"
            print(f"   {what:<58} {short(ours):>14} {short(reference):>14} {'':>10} {'equal':>9}{mark}")

    def _count(self, good):
        if good:
            self.passed += 1
        else:
            self.failed += 1

    def end(self):
        """Prints the sum and ends the script: status 1 if anything disagrees or nothing was compared."""
        print(f"   {self.passed} agree, {self.failed} disagree")
        sys.exit(1 if self.failed or not self.passed else 0)


def short(value):
    text = str(value)
    return text if len(text) <= 40 else text[:37] + "..."


def skip(title, why):
    """Ends a check that cannot run here. Status 77 is the usual sign for `skipped`."""
    print(f"== {title}\n   skipped: {why}")
    sys.exit(77)
