#!/bin/bash
# Builds a Docker image with this machine's own Rust toolchain, for the build stage of
# deploy/container/Containerfile on a machine that can pull no image. Wants the image that
# debian.sh builds, and Debian's packages:
#
#   tests/images/rust.sh [IMAGE]
set -euo pipefail

image=${1:-stencilward-tests/rust:local}
sysroot=$(rustc --print sysroot)

tree=$(mktemp -d)
trap 'rm -rf "$tree"' EXIT
cat >"$tree/Containerfile" <<'END'
ARG BASE=stencilward-tests/debian:local
FROM ${BASE}
RUN apt-get update -qq && \
    apt-get install -y -qq --no-install-recommends gcc libc6-dev >/dev/null && \
    rm -rf /var/lib/apt/lists/*
COPY ca-certificates.crt /etc/ssl/certs/
COPY toolchain /usr/local/rust
ENV PATH=/usr/local/rust/bin:/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin
END
# It trusts whom this machine trusts.
cp -L /etc/ssl/certs/ca-certificates.crt "$tree/"
mkdir "$tree/toolchain"
tar -C "$sysroot" --exclude=lib/rustlib/src -c bin lib |
    tar -C "$tree/toolchain" -x
DOCKER_BUILDKIT=${DOCKER_BUILDKIT:-0} docker build --quiet --tag "$image" \
    --file "$tree/Containerfile" "$tree"
