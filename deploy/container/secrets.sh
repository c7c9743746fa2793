#!/bin/bash
# Makes the secrets that compose.yaml mounts, each once and at random; what is there stays.
#
#   secrets.sh HOST...         for the names and addresses under which people and machines reach
#                              this host
#   secrets.sh renew HOST...   certificates anew, by the same authority
#   secrets.sh machine NAME    lets a machine in at the broker; prints its password, once
#   secrets.sh metrics-token   keeps the token that `stencilward people` printed, read from its
#                              output, for Prometheus
#
# They lie in `secrets` beside this script, or where STENCILWARD_SECRETS says. The folder is its
# owner's alone; the files in it can be read by whoever gets them mounted, since each container has
# a user of its own. Wants OpenSSL 3.
set -euo pipefail
umask 077

here=$(cd "$(dirname "$0")" && pwd)
folder=${STENCILWARD_SECRETS:-$here/secrets}
days=825

fail() {
    echo "secrets.sh: $*" >&2
    exit 1
}

# Keeps standard input as this secret. Written in place: a container that has the file mounted sees
# the new content.
keep() {
    local file=$folder/$1
    [ -e "$file" ] || install -m 600 /dev/null "$file"
    chmod 644 "$file"
    cat >"$file"
    chmod 444 "$file"
}

random() {
    openssl rand -base64 24 | tr '+/' '-_'
}

authority() {
    [ -e "$folder/ca.key" ] && return
    openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -noenc -days 3650 \
        -subj "/CN=Stencilward of this host" -addext keyUsage=critical,keyCertSign,cRLSign \
        -keyout "$folder/ca.key" -out "$folder/ca.new" 2>/dev/null
    keep ca.pem <"$folder/ca.new"
    rm "$folder/ca.new"
}

# The alternative names of a certificate: addresses and names (RFC 5280, 4.2.1.6).
alternatives() {
    local name list=""
    for name in "$@"; do
        [[ $name =~ ^[A-Za-z0-9.:_-]+$ ]] || fail "$name: no host name and no address"
        case $name in
        *:* | [0-9]*.[0-9]*.[0-9]*.[0-9]*) list+=,IP:$name ;;
        *) list+=,DNS:$name ;;
        esac
    done
    echo "${list#,}"
}

certificate() {
    local name=$1 names
    names=$(alternatives "$@" localhost 127.0.0.1)
    openssl req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -noenc -days $days \
        -CA "$folder/ca.pem" -CAkey "$folder/ca.key" -subj "/CN=$name" \
        -addext basicConstraints=critical,CA:false -addext extendedKeyUsage=serverAuth \
        -addext "subjectAltName=$names" \
        -keyout "$folder/$name.key.new" -out "$folder/$name.pem.new" 2>/dev/null ||
        fail "no certificate for $*: is OpenSSL 3 installed, and are these names or addresses?"
    keep "$name.key" <"$folder/$name.key.new"
    keep "$name.pem" <"$folder/$name.pem.new"
    rm "$folder/$name.key.new" "$folder/$name.pem.new"
}

certificates() {
    local name
    for name in gateway mosquitto grafana; do
        [ -e "$folder/$name.pem" ] && [ "$1" != anew ] || certificate "$name" "${@:2}"
    done
}

# One line of Mosquitto's password file, with the password from standard input. One round of salted
# SHA-512 is enough for 192 random bits.
hashed() {
    local salt
    salt=$(openssl rand -base64 12)
    printf '%s:$6$%s$%s\n' "$1" "$salt" \
        "$( (tr -d '\n'; printf %s "$salt" | openssl base64 -d -A) | openssl dgst -sha512 -binary |
            openssl base64 -A)"
}

# Lets somebody in at the broker with this password.
admit() {
    local name=$1 password=$2 people=""
    [ -e "$folder/floor-people" ] && people=$(grep -v "^$name:" "$folder/floor-people" || true)
    { [ -z "$people" ] || echo "$people"; echo "$password" | hashed "$name"; } | keep floor-people
}

passwords() {
    local password
    if [ ! -e "$folder/gateway-at-floor" ]; then
        password=$(random)
        printf %s "$password" | keep gateway-at-floor
        admit gateway "$password"
    fi
    if [ ! -e "$folder/mosquitto_sub" ]; then
        password=$(random)
        printf '%s\n' "-h localhost" "-p 8883" "--cafile /run/secrets/ca.pem" "-u health" \
            "-P $password" | keep mosquitto_sub
        admit health "$password"
    fi
    [ -e "$folder/grafana-admin" ] || random | tr -d '\n' | keep grafana-admin
    # Prometheus has none before people can sign in.
    [ -e "$folder/metrics-token" ] || keep metrics-token </dev/null
}

made() {
    [ -e "$folder/ca.key" ] || fail "there are no secrets yet: run secrets.sh HOST... first"
}

case ${1:-} in
"" | -*)
    sed -n '2,/^set/{/^#/s/^# \{0,1\}//p}' "$0" >&2
    exit 2
    ;;
machine)
    [ $# -eq 2 ] || fail "name one machine, such as: secrets.sh machine printer-1"
    [[ $2 =~ ^[A-Za-z0-9._-]+$ ]] || fail "$2: letters, digits, dots and dashes only"
    [[ $2 != gateway && $2 != health ]] || fail "$2 is in already, for itself"
    made
    password=$(random)
    admit "$2" "$password"
    echo "$password"
    echo "not shown again; now have the broker read it: docker compose kill -s HUP mosquitto" >&2
    ;;
metrics-token)
    made
    token=$(sed -n 's/.*token, not shown again: *\([^ ]*\).*/\1/p')
    [ -n "$token" ] || fail "no token in what was read: see what stencilward people said"
    printf %s "$token" | keep metrics-token
    ;;
renew)
    [ $# -ge 2 ] || fail "name this host: secrets.sh renew HOST..."
    made
    certificates anew "${@:2}"
    echo "now have them read: docker compose kill -s HUP gateway mosquitto, and restart grafana" >&2
    ;;
*)
    mkdir -p "$folder"
    authority
    certificates missing "$@"
    passwords
    if [ -z "${STENCILWARD_SECRETS:-}" ]; then
        printf 'COMPOSE_PROJECT_NAME=stencilward\nSTENCILWARD_SECRETS=%s\n' "$folder" >"$here/.env"
    fi
    ;;
esac
