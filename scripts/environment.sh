# Read by scripts/demo and scripts/test: a private Python environment in the checkout, made once and reused.
#
#   prepare_environment NAME   NAME is "run" or "test" (the same and the libraries that the tests need)
#
# Sets $checkout (the checkout's own folder) and $environment (the environment's). The caller has set $0.

checkout=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd -P)
environment="$checkout/.venv"
# Somebody else's library folders must not stand in front of ours.
unset PYTHONHOME PYTHONPATH

say() {
    printf '%s\n' "$*" >&2
}

# A command of that name may exist and still not start (a version manager's stand-in), be too old, or come without
# the part that makes environments (some systems pack that separately): so each is tried.
is_usable_python() {
    "$1" -c 'import sys, venv, ensurepip; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1
}

find_python() {
    for candidate in python3.13 python3.12 python3.11 python3.14 python3 python; do
        if is_usable_python "$candidate"; then
            printf '%s\n' "$candidate"
            return
        fi
    done
    say "No usable Python was found: 3.11 or later is needed, with its venv module."
    say "Install it from python.org or your system's packages (there often named python3 and python3-venv)."
    return 1
}

# An environment can't be moved: its commands hold the path they were made for. One whose making was broken off may
# have no pip yet, or its interpreter may still be the system's, into which nothing is ever installed.
is_environment_ours() {
    is_usable_python "$environment/bin/python" || return 1
    "$environment/bin/python" -c 'import pip, sys; sys.exit(sys.prefix == sys.base_prefix)' \
        >/dev/null 2>&1 || return 1
    [ ! -f "$environment/made-for" ] || [ "$(cat "$environment/made-for")" = "$checkout" ]
}

make_environment() {
    python=$(find_python) || exit 2
    say "Making a private environment in $environment"
    rm -rf -- "$environment"
    "$python" -m venv "$environment"
    printf '%s\n' "$checkout" >"$environment/made-for"
}

# One stamp a kind of installation holds the checksum of the pyproject.toml that it was made from.
install_package() {
    wanted=$(cksum <"$checkout/pyproject.toml")
    stamp="$environment/installed-$1"
    if [ -f "$stamp" ] && [ "$(cat "$stamp")" = "$wanted" ]; then
        return
    fi
    say "Installing the package and its libraries (only when pyproject.toml has changed)"
    extra=''
    [ "$1" = run ] || extra="[$1]"
    if ! "$environment/bin/python" -m pip --require-virtualenv install --quiet --disable-pip-version-check \
        --editable "$checkout$extra"; then
        say "The libraries could not be installed: see pip's message above. A package index must be within reach."
        exit 2
    fi
    printf '%s\n' "$wanted" >"$stamp"
    # What the tests need holds what a run needs.
    [ "$1" = run ] || cp -- "$stamp" "$environment/installed-run"
}

prepare_environment() {
    is_environment_ours || make_environment
    install_package "$1"
    PATH="$environment/bin:$PATH"
    export PATH
}
