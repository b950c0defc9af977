#!/usr/bin/env bash
# See that what the tests need is here: the pinned Rust with its targets, and the emulator.
# Installs what it may; otherwise says exactly what to install, and fails.
set -euo pipefail
cd "$(dirname "$0")/.."

missing() {
    echo "Missing: $1. Please $2, then run this again." >&2
    exit 1
}

have() { command -v "$1" >/dev/null; }

have cargo && have rustup || missing "Rust with rustup" "install it from https://rustup.rs"
# Installs the channel, components and targets that rust-toolchain.toml names; what is there, it leaves alone.
rustup toolchain install --no-self-update

debian_package() { # COMMAND PACKAGE
    have "$1" && return
    if [ "$(id -u)" = 0 ] && have apt-get; then
        apt-get -q update
        DEBIAN_FRONTEND=noninteractive apt-get -q -y -o DPkg::Lock::Timeout=300 install --no-install-recommends "$2"
    else
        missing "the command \`$1\`" "install it (on Debian, as root: apt-get install $2)"
    fi
}

debian_package c++ g++ # the fuzzing library is C++
debian_package qemu-system-arm qemu-system-arm
debian_package chromium chromium # visits the local page
# Maps are opened by libraries for Python, in an environment of the tests' own. On Debian the module that makes it has a
# package of its own.
debian_package python3 python3
if ! python3 -c 'import venv, ensurepip' 2>/dev/null; then
    if [ "$(id -u)" = 0 ] && have apt-get; then
        apt-get -q update
        DEBIAN_FRONTEND=noninteractive apt-get -q -y -o DPkg::Lock::Timeout=300 install --no-install-recommends python3-venv
    else
        missing "Python's module venv" "install it (on Debian, as root: apt-get install python3-venv)"
    fi
fi
