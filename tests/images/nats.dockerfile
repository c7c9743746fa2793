# NATS of Debian with its entry point as the public image nats has it.
FROM stencilward-tests/debian:local
RUN apt-get update -qq \
    && apt-get install -y -qq --no-install-recommends nats-server \
    && rm -rf /var/lib/apt/lists/* /var/cache/apt/*
EXPOSE 4222
ENTRYPOINT ["/usr/sbin/nats-server"]
CMD ["--config", "/etc/nats-server.conf"]
