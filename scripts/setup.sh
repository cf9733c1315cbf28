#!/usr/bin/env bash
# Installs what the tests need beside Rust: a C linker, can-utils, Chromium with its driver, the pinned rules of
# accessibility (npm) in checks/browser, and a Python environment in .venv with the pinned reference libraries.
# What is there already is left alone, so a second run needs no network.
set -euo pipefail
cd "$(dirname "$0")/.."

as_root() { if [ "$(id -u)" -eq 0 ]; then "$@"; else sudo "$@"; fi; }

missing=()
command -v cc >/dev/null || missing+=(build-essential)
command -v log2long >/dev/null || missing+=(can-utils)
python3 -c 'import ensurepip, venv' 2>/dev/null || missing+=(python3 python3-venv)
command -v chromedriver >/dev/null || missing+=(chromium chromium-driver)
command -v npm >/dev/null || missing+=(npm)
if [ "${#missing[@]}" -gt 0 ]; then
    echo "installing ${missing[*]}"
    as_root apt-get update -qq </dev/null
    as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "${missing[@]}" </dev/null
fi

wanted=checks/python/requirements.txt
if ! cmp -s "$wanted" .venv/requirements.txt; then
    echo "installing the reference libraries into .venv"
    rm -rf .venv
    python3 -m venv .venv
    .venv/bin/python -m pip install --quiet --disable-pip-version-check --only-binary :all: -r "$wanted"
    # Written last: an installation that was broken off is begun again.
    cp "$wanted" .venv/requirements.txt
fi

rules=checks/browser/package-lock.json
if ! cmp -s "$rules" checks/browser/node_modules/installed.json; then
    echo "installing the rules of accessibility into checks/browser"
    npm ci --silent --no-audit --no-fund --prefix checks/browser
    cp "$rules" checks/browser/node_modules/installed.json
fi
