# Build:  docker build -t shadowgap .
# Use:    docker run --rm -v "$PWD/captures:/in:ro" -v "$PWD/run:/out" shadowgap triage /in --out /out/today
# The input is mounted read-only; /out must be writable by user 10001 (or add --user "$(id -u):$(id -g)").

FROM debian:bookworm-slim AS build
ARG GO_VERSION=1.26.0
RUN apt-get update \
 && apt-get install -y --no-install-recommends ca-certificates curl \
 && rm -rf /var/lib/apt/lists/*
# The checksum is the one that Go publishes beside each release.
RUN arch=$(dpkg --print-architecture) \
 && curl -fsSLo /tmp/go.tar.gz "https://go.dev/dl/go${GO_VERSION}.linux-${arch}.tar.gz" \
 && curl -fsSLo /tmp/go.sum "https://dl.google.com/go/go${GO_VERSION}.linux-${arch}.tar.gz.sha256" \
 && echo "$(cat /tmp/go.sum)  /tmp/go.tar.gz" | sha256sum -c - \
 && tar -C /usr/local -xzf /tmp/go.tar.gz \
 && rm /tmp/go.tar.gz /tmp/go.sum
ENV PATH=/usr/local/go/bin:$PATH
WORKDIR /src
COPY scripts/setup.sh scripts/
RUN scripts/setup.sh
COPY go.mod go.sum ./
RUN go mod download
COPY . .
RUN CGO_ENABLED=1 scripts/go-slim.sh build -trimpath -o /shadowgap ./cmd/shadowgap

FROM debian:bookworm-slim
COPY scripts/setup.sh /tmp/setup.sh
RUN /tmp/setup.sh runtime \
 && rm -rf /var/lib/apt/lists/* /tmp/setup.sh \
 && useradd --uid 10001 --no-create-home --shell /usr/sbin/nologin shadowgap \
 && mkdir /in /out \
 && chown shadowgap /out
COPY --from=build /shadowgap /usr/local/bin/shadowgap
USER shadowgap
WORKDIR /out
VOLUME ["/in", "/out"]
ENTRYPOINT ["shadowgap"]
CMD ["--help"]
