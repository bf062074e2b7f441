/*
 * supervise.c - lensclerk-supervise, the parent of a private PostgreSQL and of
 * the daemon.
 *
 * It starts the database, then the daemon once the database answers, restarts
 * each when it ends, and stops the daemon before the database.  One thread, no
 * library beyond libc, no allocation after start.  All waiting is in one
 * sigtimedwait(); times are CLOCK_MONOTONIC milliseconds.
 */
#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <getopt.h>
#include <grp.h>
#include <limits.h>
#include <pwd.h>
#include <signal.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

enum {
    SETTLED_MS = 2000, /* who lived this long did not fail at its start */
    PAUSE_FIRST_MS = 100,
    DB_PAUSE_MOST_MS = 10000,
    APP_PAUSE_MOST_MS = 1000, /* it starts in no time, and nothing works
                                 without it */
    FIRST_TRIES = 6, /* of the database, before the start is given up */
    POLL_MS = 20,    /* between looks at a database that is starting */
    TICK_MS = 1000,
    DB_STOP_MS = 60000,
    LOG_MOST = 64 * 1024 * 1024, /* bytes of one log before it is set aside */
    NOFILE_MOST = 65536,
};

struct child {
    const char *name; /* in the log and the status file */
    const char *user; /* NULL: as the supervisor itself */
    char *const *argv;
    int stop_signal, kill_signal, log_fd;
    int64_t pause_most_ms;
    pid_t pid; /* 0 when it isn't running */
    bool ready;
    bool leaving;       /* was told to stop */
    bool answered;      /* this run of the database was seen to work */
    int64_t started_ms; /* of this run */
    int64_t due_ms;     /* of the next start, or of kill_signal when leaving */
    unsigned failures;  /* runs in a row that ended before SETTLED_MS */
    unsigned starts;
};

static const char *data_dir, *run_dir, *log_dir;
static pid_t while_pid;
static bool hold, foreground, stopping, ever_ready, changed = true;
static int64_t daemon_stop_ms = 30000;
static int tell_fd = -1; /* to the process that waits for the start */
static struct child db = {.name = "postgres",
    .stop_signal = SIGINT, /* fast shutdown */
    .kill_signal = SIGQUIT,
    .pause_most_ms = DB_PAUSE_MOST_MS,
    .log_fd = -1};
static struct child app = {.name = "lensclerkd",
    .stop_signal = SIGTERM,
    .kill_signal = SIGKILL,
    .pause_most_ms = APP_PAUSE_MOST_MS,
    .log_fd = -1};

static const char HELP[] =
    "NAME\n"
    "  lensclerk-supervise - run PostgreSQL and lensclerkd as one service\n"
    "\n"
    "SYNOPSIS\n"
    "  lensclerk-supervise --postgres FILE --data DIR --run DIR --logs DIR\n"
    "      [--db-user NAME] [--daemon-user NAME] [--hold] [--foreground]\n"
    "      [--stop-timeout SECONDS] [--while-pid PID] -- DAEMON [ARG...]\n"
    "\n"
    "DESCRIPTION\n"
    "  Starts PostgreSQL on an existing cluster, then DAEMON once PostgreSQL\n"
    "  answers. Whichever ends is started again, at once the first time and\n"
    "  with growing pauses when it ends within two seconds of its start.\n"
    "  Without --foreground it goes to the background and returns when\n"
    "  PostgreSQL answers; a start that fails is reported and returns 1.\n"
    "  Both programs are stopped by the kernel when the supervisor dies.\n"
    "\n"
    "OPTIONS\n"
    "  --postgres FILE     the server program, absolute\n"
    "  --data DIR          the cluster\n"
    "  --run DIR           where supervise.pid (locked while it runs) and\n"
    "                      status (a line each: name, pid, state, starts) go\n"
    "  --logs DIR          where supervise.log, postgres.log, lensclerkd.log\n"
    "                      go; one over 64 MiB is moved to NAME.log.1\n"
    "  --db-user NAME      run PostgreSQL as this user (root only)\n"
    "  --daemon-user NAME  run DAEMON as this user (root only)\n"
    "  --hold              start DAEMON only after a SIGHUP\n"
    "  --foreground        stay, and log to standard error\n"
    "  --stop-timeout N    seconds DAEMON has to end by itself (30)\n"
    "  --while-pid PID     stop when this process has gone\n"
    "\n"
    "SIGNALS\n"
    "  SIGTERM, SIGINT     stop DAEMON, then PostgreSQL, and end\n"
    "  SIGHUP              start DAEMON, or restart it gracefully\n"
    "\n"
    "EXIT STATUS\n"
    "  0 done, 1 it could not be done, 2 the command line is wrong\n";

static int64_t now_ms(void)
{
    struct timespec t;

    clock_gettime(CLOCK_MONOTONIC, &t);
    return (int64_t)t.tv_sec * 1000 + t.tv_nsec / 1000000;
}

static void say(const char *format, ...) __attribute__((format(printf, 1, 2)));

static void say(const char *format, ...)
{
    struct timespec t;
    struct tm tm;
    char at[32], text[PIPE_BUF];
    va_list ap;

    clock_gettime(CLOCK_REALTIME, &t);
    gmtime_r(&t.tv_sec, &tm);
    strftime(at, sizeof(at), "%Y-%m-%dT%H:%M:%S", &tm);
    va_start(ap, format);
    vsnprintf(text, sizeof(text), format, ap);
    va_end(ap);
    dprintf(STDERR_FILENO, "%s.%03ldZ %s\n", at, t.tv_nsec / 1000000, text);
}

/* Ends the wait of the process that started us: "" is success. */
static void tell(const char *text)
{
    if (tell_fd < 0)
        return;
    if (write(tell_fd, *text ? text : "\n", *text ? strlen(text) : 1) < 0)
        say("nobody waits for the start any more: %s", strerror(errno));
    close(tell_fd);
    tell_fd = -1;
}

static void die(const char *format, ...)
    __attribute__((format(printf, 1, 2), noreturn));

static void die(const char *format, ...)
{
    char text[PIPE_BUF];
    va_list ap;

    va_start(ap, format);
    vsnprintf(text, sizeof(text), format, ap);
    va_end(ap);
    say("%s", text);
    tell(text);
    exit(1);
}

/* --- a child's own side of its start; only _exit() leaves it -------------- */

static void become(const char *user)
{
    const struct passwd *pw = getpwnam(user);

    if (!pw) {
        say("no user \"%s\" on this machine", user);
        _exit(126);
    }
    if (initgroups(user, pw->pw_gid) || setgid(pw->pw_gid) ||
        setuid(pw->pw_uid)) {
        say("can't become user \"%s\": %s", user, strerror(errno));
        _exit(126);
    }
}

/* Every connection is a descriptor; the usual soft limit is 1024. */
static void allow_descriptors(void)
{
    struct rlimit r;

    if (getrlimit(RLIMIT_NOFILE, &r) || r.rlim_cur >= NOFILE_MOST)
        return;
    r.rlim_cur = r.rlim_max < NOFILE_MOST ? r.rlim_max : NOFILE_MOST;
    setrlimit(RLIMIT_NOFILE, &r);
}

static void child_run(const struct child *c, pid_t parent)
{
    sigset_t none;

    signal(SIGPIPE, SIG_DFL);
    sigemptyset(&none);
    sigprocmask(SIG_SETMASK, &none, NULL);
    setsid(); /* a terminal's Ctrl-C is for the supervisor alone */
    dup2(c->log_fd, STDOUT_FILENO);
    dup2(c->log_fd, STDERR_FILENO);
    allow_descriptors();
    if (c->user)
        become(c->user);
    /* After the change of user, which clears it. */
    prctl(PR_SET_PDEATHSIG, c->stop_signal);
    if (getppid() != parent)
        _exit(126);
    prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0);
    assert(c->argv); /* main() set it before the loop */
    execv(c->argv[0], c->argv);
    say("can't run %s: %s", c->argv[0], strerror(errno));
    _exit(127);
}

/* --- children, seen from the supervisor ----------------------------------- */

static void child_fail(struct child *c)
{
    int64_t pause = 0;

    if (now_ms() - c->started_ms >= SETTLED_MS)
        c->failures = 0;
    else if (c->answered && c->failures > 1)
        c->failures = 1;
    if (c->failures > 0)
        pause = (int64_t)PAUSE_FIRST_MS
                << (c->failures < 8 ? c->failures - 1 : 7);
    if (pause > c->pause_most_ms)
        pause = c->pause_most_ms;
    c->failures++;
    c->due_ms = now_ms() + pause;
}

static void child_start(struct child *c)
{
    pid_t self = getpid(), pid = fork();

    c->started_ms = now_ms();
    c->leaving = false;
    c->ready = c->answered = false;
    changed = true;
    if (pid == 0)
        child_run(c, self);
    if (pid < 0) {
        say("can't start %s: %s", c->name, strerror(errno));
        child_fail(c);
        return;
    }
    c->pid = pid;
    c->starts++;
    say("%s started, process %d", c->name, (int)pid);
}

static void child_stop(struct child *c, int64_t patience_ms)
{
    if (!c->leaving) {
        say("%s told to stop", c->name);
        kill(c->pid, c->stop_signal);
        c->leaving = true;
        c->due_ms = now_ms() + patience_ms;
        changed = true;
    } else if (now_ms() >= c->due_ms) {
        say("%s doesn't stop: signal %d", c->name, c->kill_signal);
        kill(c->pid, c->kill_signal);
        c->due_ms = now_ms() + patience_ms;
    }
}

static void child_ended(struct child *c, int how)
{
    if (WIFSIGNALED(how))
        say("%s ended by signal %d", c->name, WTERMSIG(how));
    else
        say("%s ended with status %d", c->name, WEXITSTATUS(how));
    c->pid = 0;
    changed = true;
    if (c->leaving) {
        c->failures = 0;
        c->due_ms = now_ms();
    } else {
        child_fail(c);
    }
    c->ready = c->leaving = false;
}

static void reap(void)
{
    int how;
    pid_t pid;

    while ((pid = waitpid(-1, &how, WNOHANG)) > 0) {
        if (pid == db.pid)
            child_ended(&db, how);
        else if (pid == app.pid)
            child_ended(&app, how);
    }
}

/* PostgreSQL writes its process number in line 1 of postmaster.pid and its
 * state in line 8, as its own pg_ctl reads them. */
static bool db_answers(void)
{
    char path[PATH_MAX], line[PATH_MAX];
    bool ours = false, ready = false;
    FILE *f;

    snprintf(path, sizeof(path), "%s/postmaster.pid", data_dir);
    f = fopen(path, "re");
    if (!f)
        return false;
    for (int n = 1; n <= 8 && fgets(line, sizeof(line), f); n++) {
        if (n == 1)
            ours = strtol(line, NULL, 10) == (long)db.pid;
        if (n == 8)
            ready = strncmp(line, "ready", 5) == 0;
    }
    fclose(f);
    return ours && ready;
}

/* --- files ---------------------------------------------------------------- */

static int open_log(const char *name)
{
    char path[PATH_MAX];
    int fd;

    snprintf(path, sizeof(path), "%s/%s.log", log_dir, name);
    fd = open(path, O_RDWR | O_CREAT | O_APPEND | O_CLOEXEC, 0640);
    if (fd < 0)
        die("can't open %s: %s", path, strerror(errno));
    return fd;
}

/* The writers keep their descriptors, so the text moves and not the file. */
static void trim_log(const char *name, int fd)
{
    char path[PATH_MAX];
    struct stat st;
    off_t from = 0;
    int out;

    if (fd < 0 || fstat(fd, &st) || st.st_size < LOG_MOST)
        return;
    snprintf(path, sizeof(path), "%s/%s.log.1", log_dir, name);
    out = open(path, O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0640);
    if (out < 0)
        return;
    while (copy_file_range(fd, &from, out, NULL, LOG_MOST, 0) > 0)
        continue;
    close(out);
    if (ftruncate(fd, 0))
        say("can't shorten %s.log: %s", name, strerror(errno));
}

static const char *state_of(const struct child *c)
{
    if (!c->pid)
        return "down";
    if (c->leaving)
        return "stopping";
    return c->ready ? "ready" : "starting";
}

static void write_status(void)
{
    char path[PATH_MAX], fresh[PATH_MAX];
    FILE *f;

    snprintf(path, sizeof(path), "%s/status", run_dir);
    snprintf(fresh, sizeof(fresh), "%s/status.new", run_dir);
    f = fopen(fresh, "we");
    if (!f)
        return; /* a full disk must not stop the service */
    fprintf(f, "supervisor %d ready 1\n", (int)getpid());
    fprintf(f, "%s %d %s %u\n", db.name, (int)db.pid, state_of(&db), db.starts);
    fprintf(
        f, "%s %d %s %u\n", app.name, (int)app.pid, state_of(&app), app.starts);
    if (fclose(f) == 0 && rename(fresh, path) == 0)
        changed = false;
}

/* The lock, not the number in the file, says that a supervisor runs.  The
 * descriptor stays open for good.  Who looks takes the lock for a moment. */
static void take_pid_file(void)
{
    char path[PATH_MAX];
    int fd;

    snprintf(path, sizeof(path), "%s/supervise.pid", run_dir);
    fd = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0644);
    if (fd < 0)
        die("can't open %s: %s", path, strerror(errno));
    for (int i = 0; i < 10 && flock(fd, LOCK_EX | LOCK_NB); i++)
        usleep(20000);
    if (flock(fd, LOCK_EX | LOCK_NB))
        die("another supervisor runs here already (%s is locked)", path);
    if (ftruncate(fd, 0) || dprintf(fd, "%d\n", (int)getpid()) < 0)
        die("can't write %s: %s", path, strerror(errno));
}

/* --- the loop ------------------------------------------------------------- */

static void step_db(void)
{
    if (db.pid && !db.ready && !db.leaving && db_answers()) {
        db.ready = db.answered = ever_ready = changed = true;
        say("postgres answers after %d ms", (int)(now_ms() - db.started_ms));
        tell("");
    }
    if (stopping && db.pid && !app.pid)
        child_stop(&db, DB_STOP_MS);
    if (stopping || db.pid || now_ms() < db.due_ms)
        return;
    if (!ever_ready && db.failures >= FIRST_TRIES)
        die("PostgreSQL does not start; the reason is in %s/postgres.log",
            log_dir);
    child_start(&db);
}

static void step_app(void)
{
    if (app.pid && (stopping || app.leaving))
        child_stop(&app, daemon_stop_ms);
    if (stopping || hold || app.pid || !db.ready || now_ms() < app.due_ms)
        return;
    child_start(&app);
    app.ready = app.pid != 0;
}

static void on_signal(int sig)
{
    if (sig == SIGTERM || sig == SIGINT) {
        say("signal %d: stopping", sig);
        stopping = true;
    } else if (sig == SIGHUP) {
        say("SIGHUP: %s the daemon", app.pid ? "restarting" : "starting");
        hold = false;
        if (app.pid)
            child_stop(&app, daemon_stop_ms);
    }
}

static int64_t pause_of(const struct child *c, int64_t most)
{
    int64_t left = c->due_ms - now_ms();

    if (c->pid && !c->leaving)
        return c->ready ? most : POLL_MS;
    return left < 0 ? most : left < most ? left : most;
}

static void tick(void)
{
    trim_log(db.name, db.log_fd);
    trim_log(app.name, app.log_fd);
    if (while_pid && kill(while_pid, 0) && errno == ESRCH) {
        say("process %d has gone: stopping", (int)while_pid);
        stopping = true;
    }
}

static void loop(const sigset_t *set)
{
    int64_t next_tick = now_ms() + TICK_MS;

    for (;;) {
        struct timespec t;
        int64_t ms;
        int sig;

        step_db();
        step_app();
        if (changed)
            write_status();
        if (stopping && !db.pid && !app.pid)
            return;
        ms = pause_of(&db, pause_of(&app, TICK_MS));
        t = (struct timespec){ms / 1000, ms % 1000 * 1000000};
        sig = sigtimedwait(set, NULL, &t);
        if (sig > 0)
            on_signal(sig);
        reap();
        if (now_ms() >= next_tick) {
            next_tick = now_ms() + TICK_MS;
            tick();
        }
    }
}

/* --- start ---------------------------------------------------------------- */

/* Nothing of the caller's environment that could lead libpq, the loader or
 * the locale astray reaches the programs. */
static void clean_environment(void)
{
    static const char *const keep[] = {
        "LENSCLERK_", "ASAN_", "UBSAN_", "LSAN_", "TSAN_", "XDG_CACHE_HOME="};
    static char *kept[256];
    size_t n = 0;

    for (char **e = environ; *e && n + 4 < sizeof(kept) / sizeof(*kept); e++)
        for (size_t i = 0; i < sizeof(keep) / sizeof(*keep); i++)
            if (strncmp(*e, keep[i], strlen(keep[i])) == 0)
                kept[n++] = *e;
    kept[n] = NULL;
    environ = kept;
    setenv("PATH", "/usr/local/bin:/usr/bin:/bin", 1);
    setenv("LC_ALL", "C.UTF-8", 1);
    setenv("TZ", "UTC", 1);
}

/* The caller's side: returns the exit status once the start is known. */
static int wait_for_start(int fd)
{
    char text[PIPE_BUF];
    ssize_t n = read(fd, text, sizeof(text) - 1);

    if (n == 1 && text[0] == '\n')
        return 0;
    text[n > 0 ? n : 0] = 0;
    fprintf(stderr, "lensclerk-supervise: %s\n",
        n > 0 ? text : "the supervisor ended before PostgreSQL answered");
    return 1;
}

static void go_to_background(void)
{
    int ends[2], log;
    pid_t pid;

    if (pipe2(ends, O_CLOEXEC))
        die("can't make a pipe: %s", strerror(errno));
    pid = fork();
    if (pid < 0)
        die("can't fork: %s", strerror(errno));
    if (pid > 0) {
        close(ends[1]);
        exit(wait_for_start(ends[0]));
    }
    close(ends[0]);
    tell_fd = ends[1];
    setsid();
    log = open_log("supervise");
    dup2(log, STDOUT_FILENO);
    dup2(log, STDERR_FILENO);
    close(log);
}

/* Standard streams exist, and nothing else is inherited: a pipe of the caller
 * must end with the caller. */
static void own_descriptors(void)
{
    int null = open("/dev/null", O_RDWR);

    while (null >= 0 && null < 2)
        null = dup(null);
    null = open("/dev/null", O_RDWR);
    dup2(null, STDIN_FILENO);
    close_range(3, ~0U, 0);
}

/* Blocked, for sigtimedwait(); and not ignored, as a caller may have left
 * them, because an ignored signal is never pending. */
static void take_signals(sigset_t *set)
{
    static const int signals[] = {SIGTERM, SIGINT, SIGHUP, SIGCHLD};

    sigemptyset(set);
    for (size_t i = 0; i < sizeof(signals) / sizeof(*signals); i++) {
        signal(signals[i], SIG_DFL);
        sigaddset(set, signals[i]);
    }
    sigprocmask(SIG_BLOCK, set, NULL);
    signal(SIGPIPE, SIG_IGN);
}

static void usage(const char *what)
{
    fprintf(stderr, "lensclerk-supervise: %s (see --help)\n", what);
    exit(2);
}

static int number_option(const char *text)
{
    char *end;
    long n = strtol(text, &end, 10);

    if (end == text || *end || n < 1 || n > INT_MAX)
        usage("a number from 1 is needed");
    return (int)n;
}

static void take_option(int option, char *value, char **postgres)
{
    switch (option) {
    case 'p':
        *postgres = value;
        break;
    case 'd':
        data_dir = value;
        break;
    case 'r':
        run_dir = value;
        break;
    case 'l':
        log_dir = value;
        break;
    case 'D':
        db.user = value;
        break;
    case 'A':
        app.user = value;
        break;
    case 't':
        daemon_stop_ms = (int64_t)number_option(value) * 1000;
        break;
    case 'w':
        while_pid = number_option(value);
        break;
    case 'h':
        fputs(HELP, stdout);
        exit(0);
    default:
        exit(2); /* getopt has said why */
    }
}

static void take_options(int argc, char **argv, char **postgres)
{
    static const struct option options[] = {
        {"postgres", required_argument, NULL, 'p'},
        {"data", required_argument, NULL, 'd'},
        {"run", required_argument, NULL, 'r'},
        {"logs", required_argument, NULL, 'l'},
        {"db-user", required_argument, NULL, 'D'},
        {"daemon-user", required_argument, NULL, 'A'},
        {"stop-timeout", required_argument, NULL, 't'},
        {"while-pid", required_argument, NULL, 'w'},
        {"hold", no_argument, NULL, 'H'},
        {"foreground", no_argument, NULL, 'F'},
        {"help", no_argument, NULL, 'h'},
        {NULL, 0, NULL, 0},
    };
    int option;

    while ((option = getopt_long(argc, argv, "+", options, NULL)) != -1) {
        if (option == 'H')
            hold = true;
        else if (option == 'F')
            foreground = true;
        else
            take_option(option, optarg, postgres);
    }
    if (!*postgres || !data_dir || !run_dir || !log_dir || optind >= argc)
        usage("--postgres, --data, --run, --logs and a daemon are needed");
    if ((db.user || app.user) && geteuid() != 0)
        usage("--db-user and --daemon-user are for root only");
    if (!db.user && geteuid() == 0)
        usage("PostgreSQL refuses to run as root: --db-user is needed");
}

int main(int argc, char **argv)
{
    char *db_argv[] = {NULL, (char *)"-D", NULL, NULL};
    sigset_t set;

    take_options(argc, argv, &db_argv[0]);
    own_descriptors();
    umask(077);
    take_signals(&set);
    if (!foreground)
        go_to_background();
    clean_environment();
    if (chdir("/"))
        die("can't enter /: %s", strerror(errno));
    take_pid_file();
    db_argv[2] = (char *)data_dir;
    db.argv = db_argv;
    db.log_fd = open_log(db.name);
    app.argv = argv + optind;
    app.log_fd = open_log(app.name);
    loop(&set);
    say("stopped");
    return 0;
}
