#!/bin/bash
# Builds a Docker image of a bare Debian without any registry, for the images of this folder and
# for the one in deploy/container, on a machine that can pull nothing. Wants root and debootstrap:
#
#   tests/images/debian.sh [IMAGE [PACKAGES, WITH COMMAS BETWEEN THEM]]
set -euo pipefail

image=${1:-stencilward-tests/debian:local}
packages=${2:-}
suite=bookworm
command -v debootstrap >/dev/null || {
    echo "debootstrap is not installed (Debian package debootstrap)" >&2
    exit 1
}

tree=$(mktemp -d)
trap 'rm -rf "$tree"' EXIT
chmod 755 "$tree"
debootstrap --variant=minbase ${packages:+--include="$packages"} "$suite" "$tree" >"$tree.log" 2>&1 || {
    tail -20 "$tree.log" >&2
    echo "debootstrap failed: can Debian's packages be reached from here?" >&2
    exit 1
}
# In a base for other images no package starts its service; a machine of its own is left to itself.
if [ -z "$packages" ]; then
    printf '#!/bin/sh\nexit 101\n' >"$tree/usr/sbin/policy-rc.d"
    chmod 755 "$tree/usr/sbin/policy-rc.d"
fi
rm -rf "$tree.log" "$tree"/var/cache/apt/archives/*.deb "$tree"/var/lib/apt/lists/*
tar -C "$tree" --numeric-owner -c . | docker import --change 'CMD ["bash"]' - "$image"
