#!/bin/bash
# Builds a Docker image of the Mosquitto that is installed here, without any registry, so that the
# container path of the tests can be tried on a machine that can pull nothing:
#
#   tests/images/mosquitto.sh
#   STENCILWARD_IMAGE_MOSQUITTO=stencilward-tests/mosquitto:local cargo test -p stencilward-tests
set -euo pipefail

image=${1:-stencilward-tests/mosquitto:local}
program=$(PATH=$PATH:/usr/sbin command -v mosquitto) || {
    echo "mosquitto is not installed (Debian package mosquitto)" >&2
    exit 1
}

tree=$(mktemp -d)
trap 'rm -rf "$tree"' EXIT
mkdir -p "$tree"/{etc,tmp,usr/sbin,mosquitto/config,mosquitto/data}
chmod 1777 "$tree/tmp"
printf 'root:x:0:0::/:/\n' >"$tree/etc/passwd"
printf 'root:x:0:\n' >"$tree/etc/group"
cp "$program" "$tree/usr/sbin/mosquitto"

# The program's libraries and its loader, where it looks for them.
ldd "$program" | grep -o '/[^ ]*' | while read -r library; do
    mkdir -p "$tree$(dirname "$library")"
    cp -L "$library" "$tree$library"
done

tar -C "$tree" -c . | docker import \
    --change 'CMD ["/usr/sbin/mosquitto", "-c", "/mosquitto/config/mosquitto.conf"]' \
    --change 'EXPOSE 1883' \
    - "$image"
