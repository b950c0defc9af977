# Sourced: pinned_python NAME REQUIREMENTS makes a Python environment with what is pinned, and sets `environment` to its
# folder. Made anew when what is pinned has changed.
python=${PYTHON:-python3}

pinned_python() {
    environment="${CARGO_TARGET_DIR:-$here/../target}/venv-$1"
    cmp -s "$2" "$environment/requirements.txt" && return
    rm -rf "$environment"
    "$python" -m venv "$environment"
    "$environment/bin/pip" install --quiet --disable-pip-version-check -r "$2"
    cp "$2" "$environment/requirements.txt"
}
