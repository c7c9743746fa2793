#!/bin/bash
# Builds what tests/tests/stack needs, without any registry: the gateway's image, unoptimised, by
# deploy/container/Containerfile, and one image for the services beside it. Bases that are there
# already are left as they are; the gateway's image is built anew from what changed.
#
#   tests/images/stack.sh
set -euo pipefail
cd "$(dirname "$0")"
export DOCKER_BUILDKIT=${DOCKER_BUILDKIT:-0}

docker version >/dev/null 2>&1 || {
    echo "no Docker engine answers: start one, or leave the tests of the stack out" >&2
    exit 1
}

# Runs a command, and shows what it wrote only if it fails.
quietly() {
    local log
    log=$(mktemp)
    "$@" >"$log" 2>&1 </dev/null || {
        tail -40 "$log" >&2
        rm -f "$log"
        echo "failed: $*" >&2
        exit 1
    }
    rm -f "$log"
}

present() {
    docker image inspect "stencilward-tests/$1:local" >/dev/null 2>&1
}

# Builds the gateway's image, or a stage of it, and removes the one that it replaces. The stage in
# which it is compiled has a tag so that its layers, the compiled dependencies, are kept.
rebuild() {
    local image=stencilward-tests/$1:local before after
    before=$(docker image inspect --format '{{.Id}}' "$image" 2>/dev/null || true)
    quietly docker build --force-rm --tag "$image" --file ../../deploy/container/Containerfile \
        --build-arg PROFILE=dev --build-arg RUST=stencilward-tests/rust:local \
        --build-arg BASE=stencilward-tests/debian:local "${@:2}" ../..
    after=$(docker image inspect --format '{{.Id}}' "$image")
    [ -z "$before" ] || [ "$before" = "$after" ] || docker rmi "$before" >/dev/null 2>&1 || true
}

present debian || quietly ./debian.sh
present rust || quietly ./rust.sh
present stack || quietly docker build --force-rm --tag stencilward-tests/stack:local --file stack.dockerfile .
rebuild gateway-build --target build
rebuild gateway
docker image ls 'stencilward-tests/*' --format '{{.Repository}}:{{.Tag}} {{.Size}}'
