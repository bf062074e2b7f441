# shellcheck shell=sh disable=SC2015
# (SC2015: "a && b || fail" is meant as it reads; fail does not return.)
#
# What deploy/start, deploy/stop and tests/run share.  To be sourced; POSIX sh.
#
# The caller sets `me` (its name in messages) and `repo` (the tree), and may set
# `db_fsync` to off for data that nobody needs.  Functions answer in variables
# that their comment names; others of theirs start with their own first word.

: "${me:?}" "${repo:?}" "${db_fsync:=on}"
LC_ALL=C.UTF-8
export LC_ALL

say() { printf '%s\n' "$*"; }
warn() { printf '%s\n' "$*" >&2; }

# fail WHAT [FIX]: the one way to give up.
fail() {
    printf '%s: %s\n' "$me" "$1" >&2
    [ $# -lt 2 ] || printf '  %s\n' "$2" >&2
    exit 1
}

is_root() { [ "$(id -u)" -eq 0 ]; }

# --- long steps --------------------------------------------------------------

# step TEXT COMMAND...: runs COMMAND with its output in $step_log, says that it
# is still at work every ten seconds, and shows the end of the output when it
# fails.  Descriptor 9 is the start's lock and must not leak into a service
# that a package brings up.
step() {
    say "$1"
    shift
    step_log=${step_log:-$(mktemp)} || fail "can't make a temporary file" \
        "make room in ${TMPDIR:-/tmp}"
    "$@" >"$step_log" 2>&1 </dev/null 9>&- &
    step_pid=$!
    step_tenths=0
    while kill -0 "$step_pid" 2>/dev/null; do
        sleep 0.1
        step_tenths=$((step_tenths + 1))
        [ $((step_tenths % 100)) -ne 0 ] ||
            say "  ... $((step_tenths / 10)) s"
    done
    wait "$step_pid" && return 0
    step_failed "$step_log"
    return 1
}

# The end of a log, and the reason that stands in it, in plain words.
step_failed() {
    [ -r "$1" ] || return 0
    tail -n 15 "$1" | sed 's/^/  | /' >&2
    if grep -q 'No space left on device' "$1"; then
        warn "  The disk is full: make room, or name a folder on another" \
            "disk with --state DIR."
    fi
}

step_clean() { [ -z "${step_log:-}" ] || rm -f "$step_log"; }

# --- packages ----------------------------------------------------------------

# A line each: Debian package, kind of test, what the test looks for.
# shellcheck disable=SC2034 # for those who source this
packages_build='
gcc command cc
libc6-dev file /usr/include/stdio.h
meson command meson
ninja-build command ninja
pkg-config command pkg-config
python3 command python3
libmicrohttpd-dev module libmicrohttpd
libjansson-dev module jansson
libpq-dev module libpq
libsodium-dev module libsodium
libglib2.0-dev module glib-2.0
libpango1.0-dev module pangocairo
libcairo2-dev module cairo-pdf
libxml2-dev module libxml-2.0
libqrencode-dev module libqrencode
zlib1g-dev module zlib
dcmtk command dcm2json
libcurl4-openssl-dev module libcurl
nodejs command node
npm command npm
postgresql server -
fonts-noto-core file /usr/share/fonts/truetype/noto/NotoSans-Regular.ttf
fonts-droid-fallback file /usr/share/fonts-droid-fallback/truetype/DroidSansFallback.ttf
'

packages_has() {
    case $1 in
    command) command -v "$2" >/dev/null ;;
    file) [ -e "$2" ] ;;
    module) pkg-config --exists "$2" 2>/dev/null ;;
    server) postgres_bin_of_any ;;
    esac
}

# packages_missing LIST: sets packages_missing.
packages_missing() {
    packages_missing=
    while read -r packages_name packages_kind packages_what; do
        [ -n "$packages_name" ] || continue
        packages_has "$packages_kind" "$packages_what" ||
            packages_missing="$packages_missing $packages_name"
    done <<LIST
$1
LIST
}

packages_apt() {
    DEBIAN_FRONTEND=noninteractive
    export DEBIAN_FRONTEND
    # shellcheck disable=SC2086 # a list of words
    $packages_sudo env DEBIAN_FRONTEND=noninteractive \
        apt-get -q update &&
        $packages_sudo env DEBIAN_FRONTEND=noninteractive \
            apt-get -q -y --no-install-recommends install $packages_missing
}

# packages_need LIST: installs what LIST says is missing, or says who can.
packages_need() {
    packages_missing "$1"
    [ -n "$packages_missing" ] || return 0
    packages_fix="install them as root: apt-get install$packages_missing"
    command -v apt-get >/dev/null || fail \
        "missing, and there is no apt-get to bring it:$packages_missing" \
        "install what these packages of Debian 12 hold, then start again"
    packages_sudo=
    if ! is_root; then
        packages_sudo=sudo
        command -v sudo >/dev/null ||
            fail "missing packages:$packages_missing" "$packages_fix"
        sudo -n true 2>/dev/null || { [ -t 2 ] && sudo -v; } ||
            fail "missing packages, and sudo refuses:$packages_missing" \
                "$packages_fix"
    fi
    packages_room=$(df -Pk /usr | awk 'NR == 2 { print int($4 / 1024) }')
    [ "$packages_room" -ge 1500 ] || fail \
        "only $packages_room MB are free on /usr; packages need up to 1500" \
        "make room there"
    step "installing packages, a minute or two:$packages_missing" \
        packages_apt || fail "apt-get failed" "$packages_fix"
    hash -r
}

# --- PostgreSQL's programs ---------------------------------------------------

# The newest server on this machine; sets pg_bin.
postgres_bin_of_any() {
    pg_bin=
    for pg_dir in /usr/lib/postgresql/*/bin; do
        [ -x "$pg_dir/postgres" ] && pg_bin=$pg_dir
    done
    [ -n "$pg_bin" ]
}

# The server that fits the cluster in $state; sets pg_bin.
postgres_bin() {
    postgres_bin_of_any || fail "no PostgreSQL server is installed" \
        "apt-get install postgresql"
    [ -e "$state/pg/PG_VERSION" ] || as_db test -e "$state/pg/PG_VERSION" ||
        return 0
    pg_version=$(as_db cat "$state/pg/PG_VERSION")
    pg_bin=/usr/lib/postgresql/$pg_version/bin
    [ -x "$pg_bin/postgres" ] || fail \
        "$state/pg was made by PostgreSQL $pg_version, which isn't installed" \
        "apt-get install postgresql-$pg_version"
}

# as_db COMMAND...: as the user that owns the cluster, with a bare environment.
as_db() {
    if is_root; then
        setpriv --reuid=postgres --regid=postgres --clear-groups \
            env -i PATH=/usr/bin:/bin LC_ALL=C.UTF-8 TZ=UTC "$@"
    else
        env -i PATH=/usr/bin:/bin LC_ALL=C.UTF-8 TZ=UTC "$@"
    fi
}

# as_super PSQL-ARGS...: psql as the cluster's superuser.
as_super() {
    PGOPTIONS='-c client_min_messages=warning' "$pg_bin/psql" -X -q -At -v ON_ERROR_STOP=1 -h "$sock" \
        -U lensclerk_super "$@" </dev/null
}

# psql reads what is secret from its standard input.
as_super_stdin() {
    "$pg_bin/psql" -X -q -v ON_ERROR_STOP=1 -h "$sock" -U lensclerk_super \
        -d lensclerk -f -
}

# --- the state folder --------------------------------------------------------

# state_name DIR-OR-EMPTY: sets state, absolute.
state_name() {
    state=$1
    if [ -z "$state" ] && is_root; then
        state=/var/lib/lensclerk
    elif [ -z "$state" ]; then
        state=${HOME:-$(getent passwd "$(id -u)" | cut -d: -f6)}
        state=$state/.local/state/lensclerk
    fi
    case $state in
    /*) ;;
    *) state=$PWD/$state ;;
    esac
    while [ "$state" != "${state%/}" ]; do state=${state%/}; done
    case $state in
    '' | *[\\\'\"\$\`]* | *'
'*) fail "the name \"$state\" can't be used for a state folder" \
        "name one without quotes, backslashes, dollars and line ends" ;;
    esac
}

# True when a supervisor runs here; sets state_pid.  The lock counts and not
# the number, so a stale file is never believed.
state_up() {
    state_pid=
    [ -e "$state/run/supervise.pid" ] || return 1
    [ -r "$state/run/supervise.pid" ] ||
        fail "$state is not yours to look into" \
            "run this as $(stat -c %U "$state")"
    ! flock -n "$state/run/supervise.pid" true || return 1
    state_pid=$(cat "$state/run/supervise.pid")
}

# state_mine: refuses a folder that is another's, or holds other things.
state_mine() {
    [ -e "$state" ] || return 0
    [ -d "$state" ] || fail "$state is not a folder" "name one with --state"
    state_owner=$(stat -c %u "$state")
    [ "$state_owner" -eq "$(id -u)" ] || fail \
        "$state belongs to user $(stat -c %U "$state"), not to $(id -un)" \
        "run this as that user, or name another folder with --state DIR"
    [ -w "$state" ] || fail "$state can't be written" \
        "chmod u+w it, or name another folder with --state DIR"
    # In this order, for another start may be making it just now.
    [ -z "$(ls -A "$state")" ] || [ -e "$state/.lensclerk" ] || fail \
        "$state holds other things and was not made by deploy/start" \
        "name a new or empty folder with --state DIR"
}

# state_lock: one start or stop at a time; held on descriptor 9.
state_lock() {
    exec 9>"$state/run/start.lock"
    flock -n 9 && return 0
    say "waiting for another deploy/start or deploy/stop of $state"
    flock -w 900 9 || fail "it has not ended in 15 minutes" \
        "look for it, end it, and try again"
}

# state_open: makes the folder and takes its lock.
state_open() {
    state_mine
    if ! mkdir -p "$state" 2>/dev/null; then
        fail "can't make the folder $state" \
            "name one that you may write with --state DIR"
    fi
    state_room=$(df -Pk "$state" | awk 'NR == 2 { print int($4 / 1024) }')
    [ "$state_room" -ge 300 ] || [ -e "$state/.lensclerk" ] || fail \
        "only $state_room MB are free at $state; a start needs 300" \
        "make room, or name a folder on another disk with --state DIR"
    if is_root; then state_mode=755; else state_mode=700; fi
    chmod "$state_mode" "$state" && : >>"$state/.lensclerk" &&
        mkdir -p "$state/run" "$state/log" && chmod 750 "$state/log" ||
        fail "can't write in $state" "is the disk full, or read-only?"
    state_lock
}

# state_users: as root, who runs what; and the folders of each.
state_users() {
    db_user=$(id -un)
    app_user=$db_user
    if is_root; then
        db_user=postgres
        app_user=lensclerk
        getent passwd "$db_user" >/dev/null || fail \
            "no user postgres on this machine" "apt-get install postgresql"
        getent passwd "$app_user" >/dev/null ||
            useradd --system --user-group --no-create-home \
                --home-dir /nonexistent --shell /usr/sbin/nologin \
                "$app_user" ||
            fail "can't make the user $app_user" \
                "make it by hand: useradd --system $app_user"
    fi
    state_folder "$state/pg" 700 "$db_user"
    state_folder "$state/cache" 700 "$app_user"
    as_db test -x "$state" && as_db test -w "$state/pg" || fail \
        "user $db_user can't reach $state: a folder above it is closed" \
        "chmod o+x that folder, or name another place with --state DIR"
    state_socket
}

state_folder() {
    [ -d "$1" ] || mkdir "$1" || fail "can't make $1" "is the disk full?"
    if is_root; then chown "$3:" "$1"; fi
    chmod "$2" "$1"
}

# state_socket: sets sock.  The name of a Unix socket may have 107 bytes, 15
# of them PostgreSQL's; and a comma or a blank would part a list of folders.
state_socket() {
    if is_root; then sock_mode=755; else sock_mode=700; fi
    sock=$state/sock
    case $sock in
    *[!A-Za-z0-9/._+-]*) sock_short=no ;;
    *) [ "${#sock}" -le 92 ] && sock_short=yes || sock_short=no ;;
    esac
    if [ "$sock_short" = no ]; then
        sock=$(cat "$state/run/sock" 2>/dev/null)
        [ -n "$sock" ] && [ -d "$sock" ] && [ ! -L "$sock" ] &&
            [ "$(stat -c %U "$sock")" = "$db_user" ] ||
            sock=$(mktemp -d "${TMPDIR:-/tmp}/lensclerk.XXXXXX") ||
            fail "can't make a folder for the socket in ${TMPDIR:-/tmp}" \
                "make room there"
        printf '%s\n' "$sock" >"$state/run/sock"
    fi
    state_folder "$sock" "$sock_mode" "$db_user"
}

# --- the cluster -------------------------------------------------------------

# db_file NAME: standard input becomes a file of the cluster.
db_file() {
    # shellcheck disable=SC2016 # for the inner shell
    as_db sh -c 'umask 077; cat >"$1"' sh "$state/pg/$1" ||
        fail "can't write $state/pg/$1" "is the disk full?"
}

cluster_initdb() {
    (
        cd "$state" || exit 1
        as_db "$pg_bin/initdb" -D "$state/pg" -U lensclerk_super -A reject \
            -E UTF8 --locale=C.UTF-8 -k --no-sync &&
            if [ "$db_fsync" = on ]; then sync -f "$state/pg"; fi
    )
}

# The last file made says that all before it is whole.
cluster_create() {
    ! as_db test -e "$state/pg/made-by-lensclerk" || return 0
    as_db find "$state/pg" -mindepth 1 -delete
    step "making a database cluster in $state/pg" cluster_initdb ||
        fail "initdb failed"
    # shellcheck disable=SC2016 # for the inner shell
    printf '%s\n' "include_if_exists = 'lensclerk.conf'" \
        "include_if_exists = 'local.conf'" |
        as_db sh -c 'cat >>"$1"' sh "$state/pg/postgresql.conf" ||
        fail "can't write $state/pg" "is the disk full?"
    if is_root; then
        cluster_auth_root
    else
        cluster_auth_user
    fi
    db_file local.conf <<CONF
# Settings of your own; they go over lensclerk.conf.
CONF
    db_file made-by-lensclerk </dev/null
}

# Who may be whom: the daemon's user is lensclerkd and nobody else.
cluster_auth_root() {
    db_file pg_hba.conf <<HBA
local all       lensclerk_super            peer map=lensclerk
local lensclerk lensclerk_owner,lensclerkd peer map=lensclerk
HBA
    db_file pg_ident.conf <<IDENT
lensclerk $db_user lensclerk_super
lensclerk root lensclerk_super
lensclerk root lensclerk_owner
lensclerk $app_user lensclerkd
IDENT
}

# One user for everything: passwords tell daemon and owner apart.
cluster_auth_user() {
    db_file pg_hba.conf <<HBA
local all       lensclerk_super            peer map=lensclerk
local lensclerk lensclerk_owner,lensclerkd scram-sha-256
HBA
    db_file pg_ident.conf <<IDENT
lensclerk $db_user lensclerk_super
IDENT
}

cluster_settings() {
    db_file lensclerk.conf <<CONF
# Written by deploy/start at each start; settings of your own go in local.conf.
listen_addresses = ''
unix_socket_directories = '$sock'
max_connections = 60
shared_buffers = 256MB
max_wal_size = 1GB
jit = off
fsync = $db_fsync
full_page_writes = on
synchronous_commit = on
password_encryption = 'scram-sha-256'
log_timezone = 'UTC'
timezone = 'UTC'
datestyle = 'iso, ymd'
CONF
}

# database_create: the database, its roles, and as an ordinary user passwords.
database_create() {
    [ -n "$(as_super -d postgres -c \
        "SELECT 1 FROM pg_database WHERE datname = 'lensclerk'")" ] ||
        as_super -d postgres -c "CREATE DATABASE lensclerk" ||
        fail "can't make the database" "see $state/log/postgres.log"
    as_super -d lensclerk -f "$repo/deploy/roles.sql" >/dev/null ||
        fail "can't make the database roles" "see $state/log/postgres.log"
    is_root || for db_role in lensclerkd lensclerk_owner; do
        database_password "$db_role"
    done
}

# database_password ROLE: a random one, kept in a file that libpq reads.
database_password() {
    pass_file=$state/secrets/$1.pgpass
    [ ! -s "$pass_file" ] || return 0
    pass_word=$(od -An -N24 -tx1 /dev/urandom | tr -d ' \n')
    printf "ALTER ROLE %s PASSWORD '%s';\n" "$1" "$pass_word" |
        as_super_stdin || fail "can't set the password of role $1" \
        "see $state/log/postgres.log"
    (
        umask 077
        mkdir -p "$state/secrets"
        printf '*:*:lensclerk:%s:%s\n' "$1" "$pass_word" >"$pass_file"
    ) || fail "can't write $pass_file" "is the disk full?"
}

# --- the configuration -------------------------------------------------------

# conf_get GROUP KEY
conf_get() {
    awk -v group="[$1]" -v key="$2" '
        /^\[/ { here = $0 == group }
        here && index($0, key "=") == 1 {
            print substr($0, length(key) + 2); exit
        }' "$conf"
}

# conf_set GROUP KEY VALUE: changes one line, or adds it to its group; sets
# conf_changed when the file is another than before.
conf_set() {
    [ "$(conf_get "$1" "$2")" != "$3" ] || return 0
    LENS_VALUE=$3 awk -v group="[$1]" -v key="$2" '
        function put() { print key "=" ENVIRON["LENS_VALUE"]; done = 1 }
        /^\[/ { if (here && !done) put(); here = $0 == group }
        here && !done && index($0, key "=") == 1 { put(); next }
        { print }
        END { if (!done) { if (!here) print group; put() } }
        ' "$conf" >"$conf.new" && conf_mode "$conf.new" &&
        mv "$conf.new" "$conf" || fail "can't write $conf" "is the disk full?"
    conf_changed=yes
}

# The daemon reads the file and no other user does.
conf_mode() {
    if is_root; then
        chown "root:$app_user" "$1" && chmod 640 "$1"
    else
        chmod 600 "$1"
    fi
}

# conf_conninfo ROLE: for the configuration.
conf_conninfo() {
    conf_pass=
    is_root || conf_pass=" passfile='$state/secrets/$1.pgpass'"
    printf '%s' "host=$sock dbname=lensclerk user=$1$conf_pass"
}

# key_file_make: what signatures and secrets derive from, once.
key_file_make() {
    key_file=$state/secrets/signing.key
    mkdir -p "$state/secrets" || fail "can't write $state/secrets"
    if [ ! -s "$key_file" ]; then
        (umask 077 && python3 -ISc 'import secrets
print(secrets.token_hex(32))' >"$key_file.new") &&
            mv "$key_file.new" "$key_file" || fail "can't write $key_file"
    fi
    if is_root; then
        chmod 0711 "$state/secrets" && chown "$app_user:" "$key_file" &&
            chmod 400 "$key_file" || fail "can't give $key_file to $app_user"
    fi
    conf_set secrets key_file "$key_file"
}

# conf_write PORT METRICS-PORT: either may be empty, then it stays.
conf_write() {
    conf=$state/lensclerk.conf
    # shellcheck disable=SC2034 # for the caller
    conf_changed=
    if [ ! -s "$conf" ]; then
        cp "$repo/deploy/lensclerk.conf.sample" "$conf" && conf_mode "$conf" ||
            fail "can't write $conf" "is the disk full?"
    fi
    [ -z "$1" ] || conf_set server port "$1"
    [ -z "$2" ] || conf_set server metrics_port "$2"
    conf_set server web_dir "$state/app/web"
    conf_set server schema_dir "$state/app/schema"
    conf_set database migrations_dir "$state/app/migrations"
    [ -n "$(conf_get secrets key_file)" ] || key_file_make
    conf_set database conninfo "$(conf_conninfo lensclerkd)"
    conf_set database owner_conninfo "$(conf_conninfo lensclerk_owner)"
    port=$(conf_get server port)
    port=${port:-8460}
    metrics_port=$(conf_get server metrics_port)
    [ "${metrics_port:-0}" -ne 0 ] || metrics_port=$((port + 1))
}

# conf_check PROGRAM: before anything is stopped or started.
conf_check() {
    conf_said=$("$1" check-config --config "$conf" 2>&1 </dev/null) && return 0
    fail "the configuration $conf is refused" \
        "$(printf '%s\n' "$conf_said" | head -n 5)"
}

# --- the network -------------------------------------------------------------

# net_address: sets host, where this machine reaches the daemon, and base_url.
net_address() {
    listen=$(conf_get server listen)
    case ${listen:-127.0.0.1} in
    0.0.0.0) host=127.0.0.1 ;;
    ::) host=::1 ;;
    *) host=${listen:-127.0.0.1} ;;
    esac
    base_url=http
    [ -z "$(conf_get server tls_certificate)" ] || base_url=https
    case $host in
    *:*) base_url="$base_url://[$host]:$port" ;;
    *) base_url="$base_url://$host:$port" ;;
    esac
}

# net_free ADDRESS PORT: tries to listen there; a daemon that is still going
# down gets three seconds.
net_free() {
    net_error=$(python3 -ISc '
import errno, socket, sys, time
host, port = sys.argv[1], int(sys.argv[2])
for wait in range(30):
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family) as s:
        s.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            s.bind((host, port))
            s.listen(1)
            sys.exit(0)
        except OSError as e:
            why = e
    if why.errno != errno.EADDRINUSE:
        break
    time.sleep(0.1)
print(errno.errorcode.get(why.errno, "?"), why.strerror)
sys.exit(1)' "$1" "$2" 2>/dev/null) && return 0
    case $net_error in
    EADDRINUSE*) fail "port $2 is in use by another program" \
        "stop that program, or choose another port with --port N" ;;
    EACCES*) fail "only root may listen on port $2" \
        "choose one from 1024 on with --port N" ;;
    *) fail "can't listen on $1 port $2: ${net_error#* }" \
        "set another address or port in $conf" ;;
    esac
}

# True when the daemon answers GET /readyz with 200.
net_ready() {
    python3 -ISc '
import socket, ssl, sys
url, host, port = sys.argv[1], sys.argv[2], int(sys.argv[3])
try:
    s = socket.create_connection((host, port), 2)
    if url.startswith("https"):
        tls = ssl.create_default_context()
        tls.check_hostname = False
        tls.verify_mode = ssl.CERT_NONE
        s = tls.wrap_socket(s)
    s.settimeout(5)
    s.sendall(b"GET /readyz HTTP/1.1\r\nHost: localhost\r\n"
              b"Connection: close\r\n\r\n")
    sys.exit(s.recv(64).split()[1] != b"200")
except (OSError, IndexError):
    sys.exit(1)' "$base_url" "$host" "$port" </dev/null
}

# --- up and down -------------------------------------------------------------

# app_pages SITE: a build of the programs alone has no pages.
app_pages() {
    [ ! -d "$1" ] || cp -R "$1/." "$state/app.new/web/"
}

# app_install BUILD: copies what runs to $state/app, because a folder of the
# tree may be closed to the daemon's user; sets app_changed.
app_install() {
    app_changed=
    rm -rf "$state/app.new"
    (
        umask 022
        mkdir -p "$state/app.new/bin" &&
            cp "$1/server/lensclerkd" "$1/server/lensclerk-supervise" \
                "$state/app.new/bin/" &&
            cp -R "$repo/migrations" "$repo/schema" "$state/app.new/" &&
            mkdir "$state/app.new/web" && app_pages "$1/server/web/site" &&
            chmod -R a+rX,go-w "$state/app.new"
    ) || fail "can't copy the programs to $state/app.new" "is the disk full?"
    if diff -rq "$state/app.new" "$state/app" >/dev/null 2>&1; then
        rm -rf "$state/app.new"
        return 0
    fi
    app_changed=yes
}

app_swap() {
    [ -n "$app_changed" ] || return 0
    rm -rf "$state/app.old"
    [ ! -e "$state/app" ] || mv "$state/app" "$state/app.old"
    mv "$state/app.new" "$state/app" || fail "can't move $state/app.new"
    rm -rf "$state/app.old"
}

service_stop() {
    state_up || return 0
    kill -TERM "$state_pid" || fail "can't stop process $state_pid" \
        "run this as $(stat -c %U "$state")"
    flock -w 180 "$state/run/supervise.pid" true || fail \
        "the service has not stopped in three minutes" \
        "see $state/log/supervise.log"
    # A socket's folder outside the state folder.
    [ ! -s "$state/run/sock" ] ||
        as_db rmdir "$(cat "$state/run/sock")" 2>/dev/null
}

# service_supervise [OPTION...]: PostgreSQL comes up, the daemon waits.
service_supervise() {
    if is_root; then
        set -- "$@" --db-user "$db_user" --daemon-user "$app_user"
    fi
    XDG_CACHE_HOME=$state/cache "$state/app/bin/lensclerk-supervise" \
        --postgres "$pg_bin/postgres" --data "$state/pg" \
        --run "$state/run" --logs "$state/log" --hold "$@" -- \
        "$state/app/bin/lensclerkd" serve --config "$conf" 9>&- ||
        {
            step_failed "$state/log/postgres.log"
            fail "PostgreSQL does not start" "see $state/log/postgres.log"
        }
    state_up || fail "the supervisor has gone" "see $state/log/supervise.log"
}

service_migrate() {
    : >"$state/log/migrate.log"
    "$state/app/bin/lensclerkd" migrate --config "$conf" \
        >"$state/log/migrate.log" 2>&1 </dev/null 9>&- && return 0
    step_failed "$state/log/migrate.log"
    service_stop
    fail "the database could not be brought to this version" \
        "see $state/log/migrate.log; the service is stopped"
}

# service_daemon: lets the daemon start and waits until it is ready.
service_daemon() {
    service_from=$(($(wc -c <"$state/log/lensclerkd.log") + 1))
    kill -HUP "$state_pid"
    service_tries=0
    while ! net_ready; do
        kill -0 "$state_pid" || fail "the supervisor has gone" \
            "see $state/log/supervise.log"
        service_tries=$((service_tries + 1))
        service_starts=$(awk '$1 == "lensclerkd" { print $4 }' \
            "$state/run/status")
        if [ "${service_starts:-0}" -gt 3 ] || [ "$service_tries" -gt 600 ]; then
            tail -c "+$service_from" "$state/log/lensclerkd.log" |
                tail -n 5 | sed 's/^/  | /' >&2
            service_stop
            fail "the daemon does not become ready" \
                "see $state/log/lensclerkd.log; the service is stopped"
        fi
        sleep 0.05
    done
}
