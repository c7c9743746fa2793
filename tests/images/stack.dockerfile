# What deploy/container/compose.yaml has beside the gateway, of Debian's packages, with programs and
# data where the services' own images have them: it stands in for those on a machine that can pull
# none. Grafana is not in Debian. And socat, a wire to what is outside of a network.
FROM stencilward-tests/debian:local
RUN printf '#!/bin/sh\nexit 101\n' >/usr/sbin/policy-rc.d \
    && chmod +x /usr/sbin/policy-rc.d \
    && apt-get update -qq \
    && apt-get install -y -qq --no-install-recommends \
        mosquitto mosquitto-clients prometheus prometheus-alertmanager socat \
    && rm -rf /var/lib/apt/lists/* \
    && ln -s prometheus-alertmanager /usr/bin/alertmanager \
    && install -d -o 1883 -g 1883 /mosquitto/config /mosquitto/data \
    && install -d -o 65534 -g 65534 /prometheus /alertmanager
