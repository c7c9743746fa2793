# RabbitMQ of Debian with its program where the public image rabbitmq has it, and its log on the
# outputs. Debian's own script at /usr/sbin writes them to files.
FROM stencilward-tests/debian:local
RUN apt-get update -qq \
    && apt-get install -y -qq --no-install-recommends rabbitmq-server \
    && rm -rf /var/lib/apt/lists/* /var/cache/apt/*
ENV PATH=/usr/lib/rabbitmq/bin:/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin
ENV HOME=/var/lib/rabbitmq RABBITMQ_LOGS=-
USER rabbitmq
EXPOSE 5672
CMD ["rabbitmq-server"]
