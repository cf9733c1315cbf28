"""Reference tables in checks/data are what their scripts make: runs each script and compares."""

import csv
import io
import subprocess
import sys
import tempfile
from pathlib import Path

from common import ROOT, Table

HERE = Path(__file__).parent
DATA = ROOT / "checks" / "data"


def made(script):
    """Text that a script makes: to standard output, or to the file given as its argument."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out.csv"
        run = subprocess.run([sys.executable, HERE / script, out], capture_output=True, text=True, check=True)
        return out.read_text() if out.exists() else run.stdout


def rows(text):
    return list(csv.reader(line for line in io.StringIO(text) if not line.startswith("#")))


def number(cell):
    try:
        return float(cell)
    except ValueError:
        return None


def main():
    table = Table(
        "tables made by scripts",
        ["liquids.py: fluids and CoolProp; two_channel_bvp.py: SciPy solve_bvp; learning.py: SciPy, scikit-learn, statsmodels; each made again now"],
        ["fluids", "CoolProp", "scipy", "scikit-learn", "statsmodels"],
    )
    for script in ("liquids.py", "two_channel_bvp.py", "learning.py"):
        name = script.replace(".py", ".csv")
        kept, fresh = rows((DATA / name).read_text()), rows(made(script))
        table.same(f"{name}: rows", len(kept), len(fresh))
        cells = off = 0
        for a, b in zip(kept, fresh):
            for x, y in zip(a, b, strict=True):
                p, q = number(x), number(y)
                cells += 1
                # Another processor may round the last digits of an iterative solution differently.
                equal = x == y if p is None or q is None else abs(p - q) <= 1e-7 * max(abs(p), abs(q))
                if not equal:
                    off += 1
                    print(f"   {name}: {a[0]}: {x} kept, {y} made now")
        table.same(f"{name}: cells that differ, of {cells}", off, 0)
    table.end()


if __name__ == "__main__":
    main()
