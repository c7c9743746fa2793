# Mosquitto of Debian with its files where eclipse-mosquitto has them.
FROM stencilward-tests/debian:local
RUN apt-get update -qq \
    && apt-get install -y -qq --no-install-recommends mosquitto \
    && rm -rf /var/lib/apt/lists/* /var/cache/apt/* \
    && install -d -o mosquitto /mosquitto/config /mosquitto/data
EXPOSE 1883
CMD ["/usr/sbin/mosquitto", "-c", "/mosquitto/config/mosquitto.conf"]
