"""Runs every check against the outside references; ends with status 1 if one of them disagrees.

    .venv/bin/python checks/python/run_all.py [NAME ...]

Names are gas, pressure, transport, codes, bus, containers, tables,
networks; without names all run. The programs under test are taken
from the release folder (cargo build --release -p checks), or from SOOTWRIGHT_BIN.
"""

import platform
import subprocess
import sys
import time
from pathlib import Path

CHECKS = ["gas", "pressure", "transport", "codes", "bus", "containers", "tables", "networks"]
SKIPPED = 77


def main():
    names = sys.argv[1:] or CHECKS
    unknown = [n for n in names if n not in CHECKS]
    if unknown:
        sys.exit(f"no check named {', '.join(unknown)}; there are {', '.join(CHECKS)}")
    print(f"Python {platform.python_version()}", flush=True)
    states = {}
    for name in names:
        started = time.monotonic()
        status = subprocess.run([sys.executable, Path(__file__).with_name(f"{name}.py")]).returncode
        states[name] = {0: "agrees", SKIPPED: "skipped"}.get(status, "DISAGREES")
        print(f"   {name}: {states[name]} after {time.monotonic() - started:.1f} s\n", flush=True)
    failed = sum(s == "DISAGREES" for s in states.values())
    print(f"reference checks: {sum(s == 'agrees' for s in states.values())} passed, {failed} failed, "
          f"{sum(s == 'skipped' for s in states.values())} skipped")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
