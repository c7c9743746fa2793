# Prometheus of Debian with its entry point and files where prom/prometheus has them.
FROM stencilward-tests/debian:local
RUN apt-get update -qq \
    && apt-get install -y -qq --no-install-recommends prometheus \
    && rm -rf /var/lib/apt/lists/* /var/cache/apt/* \
    && install -d -o nobody -g nogroup /prometheus
USER nobody
WORKDIR /prometheus
EXPOSE 9090
ENTRYPOINT ["/usr/bin/prometheus"]
CMD ["--config.file=/etc/prometheus/prometheus.yml", "--storage.tsdb.path=/prometheus"]
