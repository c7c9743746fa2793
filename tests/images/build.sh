#!/bin/bash
# Builds images of the services that tests need, from packages of Debian, for a machine whose
# Docker engine can pull nothing. Those that are there already are left as they are. The tests
# find them by themselves. Wants debootstrap and root for the first one (debian.sh):
#
#   tests/images/build.sh [SERVICE...]
#   STENCILWARD_SERVICES=container cargo test -p stencilward-tests
set -euo pipefail
cd "$(dirname "$0")"

present() {
    docker image inspect "$1" >/dev/null 2>&1
}

services=("$@")
[ ${#services[@]} -gt 0 ] || services=(mosquitto rabbitmq nats prometheus)
for service in "${services[@]}"; do
    [ -f "$service.dockerfile" ] || {
        echo "there is no $service.dockerfile; there are: $(echo ./*.dockerfile)" >&2
        exit 1
    }
done
docker version >/dev/null 2>&1 || {
    echo "no Docker engine answers: start one, or run the tests without containers" >&2
    exit 1
}

present stencilward-tests/debian:local || ./debian.sh
for service in "${services[@]}"; do
    image=stencilward-tests/$service:local
    if present "$image"; then
        echo "$image is there; to build it anew: docker rmi $image"
        continue
    fi
    log=$(mktemp)
    docker build --tag "$image" - <"$service.dockerfile" >"$log" 2>&1 || {
        tail -30 "$log" >&2
        echo "$image cannot be built: can containers reach Debian's packages?" >&2
        rm -f "$log"
        exit 1
    }
    rm -f "$log"
    echo "$image is built"
done
