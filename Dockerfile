# Build:  docker build -t shadowgap .
# Use:    docker run --rm -v "$PWD/captures:/in:ro" -v "$PWD/run:/out" shadowgap triage /in --out /out/today
# The input is mounted read-only. The folder run must be there, or docker makes one that only root may write to, and user 10001 must be
# allowed to write to it (or add --user "$(id -u):$(id -g)").

# Debian 12 is what shadowgap is tested on. The tag names one point release; images of it are rebuilt now and then. No digest stands here
# because none could be read from a registry when this was written. Whoever wants one fixed image names the digest that "docker pull" prints:
#   docker build --build-arg BASE=debian@sha256:… -t shadowgap .
ARG BASE=debian:12.11-slim

FROM ${BASE} AS build
ARG GO_VERSION=1.26.11
RUN apt-get update \
 && apt-get install -y --no-install-recommends ca-certificates curl \
 && rm -rf /var/lib/apt/lists/*
# The checksum is the one that Go publishes beside each release: it tells a broken download, not a false publisher.
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
RUN CGO_ENABLED=1 go build -trimpath -o /shadowgap ./cmd/shadowgap

FROM ${BASE}
# All that it needs to run: ONNX Runtime, which the stage above fetched and checked, so that no npm comes in here. What that is linked with,
# the runtimes of C and C++, Debian's apt brings.
COPY --from=build /usr/local/lib/shadowgap /usr/local/lib/shadowgap
RUN groupadd --gid 10001 shadowgap \
 && useradd --uid 10001 --gid 10001 --no-create-home --shell /usr/sbin/nologin shadowgap \
 && mkdir /in /out \
 && chown 10001:10001 /out
COPY LICENSE THIRD-PARTY.md THIRD-PARTY-GO.txt /usr/local/share/doc/shadowgap/
COPY --from=build /shadowgap /usr/local/bin/shadowgap
# By number, so that an orchestrator that wants "not root" can tell.
USER 10001:10001
WORKDIR /out
VOLUME ["/in", "/out"]
ENTRYPOINT ["shadowgap"]
CMD ["--help"]
