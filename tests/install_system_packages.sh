#!/bin/sh
# Install the Debian packages that tests need and that are not there yet.
set -eu
missing=""
for package in "$@"; do
    state=$(dpkg-query --show --showformat='${db:Status-Status}' "$package" 2>/dev/null || true)
    [ "$state" = installed ] || missing="$missing $package"
done
[ -z "$missing" ] && exit 0

line="apt-get install -y --no-install-recommends$missing"
if [ "$(id -u)" = 0 ]; then
    as_root=""
elif command -v sudo >/dev/null && sudo -n true 2>/dev/null; then
    as_root="sudo"
else
    echo "These tests need system packages; as root, run: $line" >&2
    exit 1
fi
$as_root apt-get update -qq
# shellcheck disable=SC2086  # the list is meant to split
DEBIAN_FRONTEND=noninteractive $as_root $line -qq >/dev/null
