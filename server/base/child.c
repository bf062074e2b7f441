#include "base/child.h"

#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <linux/audit.h>
#include <linux/filter.h>
#include <linux/seccomp.h>
#include <poll.h>
#include <sched.h>
#include <signal.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/mman.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/syscall.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "base/arena.h"
#include "base/instant.h"

#define ARGS_MAX 14
#define FILES_MAX 32
#define TICK_NS 1000000 /* between two looks at a child that has said all */

/* ---- what it may not do ------------------------------------------------ */

#if defined(__x86_64__)
#define ARCH AUDIT_ARCH_X86_64
#elif defined(__aarch64__)
#define ARCH AUDIT_ARCH_AARCH64
#else
#define ARCH 0
#endif

/* System calls that make sockets, processes or files, or reach into another
 * process.  Some stand on one kind of machine only. */
static const unsigned DENIED[] = {
    SYS_socket,
    SYS_socketpair,
    SYS_connect,
    SYS_bind,
    SYS_listen,
    SYS_accept,
    SYS_accept4,
    SYS_io_uring_setup,
    SYS_clone,
    SYS_clone3,
    SYS_kill,
    SYS_tkill,
    SYS_tgkill,
    SYS_rt_sigqueueinfo,
    SYS_rt_tgsigqueueinfo,
    SYS_pidfd_open,
    SYS_pidfd_send_signal,
    SYS_setpriority,
    SYS_sched_setaffinity,
    SYS_sched_setscheduler,
    SYS_sched_setattr,
    SYS_sched_setparam,
    SYS_ptrace,
    SYS_process_vm_readv,
    SYS_process_vm_writev,
    SYS_pidfd_getfd,
    SYS_openat2,
    SYS_open_by_handle_at,
    SYS_mknodat,
    SYS_mkdirat,
    SYS_unlinkat,
    SYS_symlinkat,
    SYS_linkat,
    SYS_renameat2,
    SYS_truncate,
    SYS_ftruncate,
    SYS_fchmod,
    SYS_fchmodat,
    SYS_fchown,
    SYS_fchownat,
    SYS_utimensat,
    SYS_setxattr,
    SYS_mount,
    SYS_chroot,
    SYS_bpf,
    SYS_keyctl,
    SYS_add_key,
#ifdef SYS_open
    SYS_fork,
    SYS_vfork,
    SYS_creat,
    SYS_mknod,
    SYS_mkdir,
    SYS_rmdir,
    SYS_unlink,
    SYS_symlink,
    SYS_link,
    SYS_rename,
    SYS_chmod,
    SYS_chown,
    SYS_lchown,
    SYS_utime,
    SYS_utimes,
#endif
    SYS_renameat,
};

struct filter {
    struct sock_filter code[2 * ARRAY_LEN(DENIED) + 32];
    unsigned short n;
};

static void put(
    struct filter *f, unsigned code, unsigned yes, unsigned no, unsigned value)
{
    f->code[f->n++] = (struct sock_filter){
        (unsigned short)code, (unsigned char)yes, (unsigned char)no, value};
}

static void put_load(struct filter *f, size_t at)
{
    put(f, BPF_LD | BPF_W | BPF_ABS, 0, 0, (unsigned)at);
}

static void put_refusal(struct filter *f)
{
    put(f, BPF_RET | BPF_K, 0, 0, SECCOMP_RET_ERRNO | EPERM);
}

/* Opening goes on for reading only; the flags are argument number arg. */
static void put_open(struct filter *f, unsigned number, size_t arg)
{
    put(f, BPF_JMP | BPF_JEQ | BPF_K, 0, 4, number);
    /* The lower half, on the machines that ARCH names. */
    put_load(f, offsetof(struct seccomp_data, args) + arg * sizeof(uint64_t));
    put(f, BPF_JMP | BPF_JSET | BPF_K, 0, 1,
        O_WRONLY | O_RDWR | O_CREAT | O_TRUNC);
    put_refusal(f);
    put(f, BPF_RET | BPF_K, 0, 0, SECCOMP_RET_ALLOW);
}

/* Its own limits may be asked for, and no other process's. */
static void put_limits(struct filter *f)
{
    put(f, BPF_JMP | BPF_JEQ | BPF_K, 0, 4, SYS_prlimit64);
    put_load(f, offsetof(struct seccomp_data, args));
    put(f, BPF_JMP | BPF_JEQ | BPF_K, 1, 0, 0);
    put_refusal(f);
    put(f, BPF_RET | BPF_K, 0, 0, SECCOMP_RET_ALLOW);
}

static void make_filter(struct filter *f)
{
    f->n = 0;
    put_load(f, offsetof(struct seccomp_data, arch));
    put(f, BPF_JMP | BPF_JEQ | BPF_K, 1, 0, ARCH);
    put(f, BPF_RET | BPF_K, 0, 0, SECCOMP_RET_KILL_PROCESS);
    put_load(f, offsetof(struct seccomp_data, nr));
#if defined(__x86_64__)
    /* The second table of calls (x32) has the same ones by other numbers. */
    put(f, BPF_JMP | BPF_JGE | BPF_K, 0, 1, 0x40000000);
    put(f, BPF_RET | BPF_K, 0, 0, SECCOMP_RET_KILL_PROCESS);
#endif
    for (size_t i = 0; i < ARRAY_LEN(DENIED); i++) {
        put(f, BPF_JMP | BPF_JEQ | BPF_K, 0, 1, DENIED[i]);
        put_refusal(f);
    }
#ifdef SYS_open
    put_open(f, SYS_open, 1);
#endif
    put_open(f, SYS_openat, 2);
    put_limits(f);
    put(f, BPF_RET | BPF_K, 0, 0, SECCOMP_RET_ALLOW);
}

/* ---- between fork and exec: nothing but system calls ------------------- */

struct start {
    char path[PATH_MAX];
    char *argv[ARGS_MAX + 2];
    char *env[2];
    int in, out, nowhere, folder;
    const struct child_limits *limits;
    struct filter filter;
};

static void limit(__rlimit_resource_t what, size_t most)
{
    struct rlimit both = {most, most};

    if (setrlimit(what, &both) != 0)
        _exit(126);
}

static void take_limits(const struct child_limits *limits)
{
    limit(RLIMIT_CPU, (size_t)limits->cpu_s);
    limit(RLIMIT_AS, limits->memory);
    limit(RLIMIT_FSIZE, 0);
    limit(RLIMIT_CORE, 0);
    limit(RLIMIT_NPROC, 0);
    limit(RLIMIT_NOFILE, FILES_MAX);
}

static void confine(struct start *s)
{
    struct sock_fprog program = {s->filter.n, s->filter.code};

    if (prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) != 0)
        _exit(126);
    if (ARCH && prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, &program) == 0)
        return;
    /* Where that may not be done either, the limits remain. */
    (void)unshare(CLONE_NEWUSER | CLONE_NEWNET);
}

static _Noreturn void become(struct start *s)
{
    sigset_t none;

    sigemptyset(&none);
    prctl(PR_SET_PDEATHSIG, SIGKILL);
    if (dup2(s->in, 0) < 0 || dup2(s->out, 1) < 0 || dup2(s->nowhere, 2) < 0 ||
        fchdir(s->folder) != 0 || syscall(SYS_close_range, 3, ~0U, 0) != 0)
        _exit(126);
    signal(SIGPIPE, SIG_DFL);
    sigprocmask(SIG_SETMASK, &none, NULL);
    take_limits(s->limits);
    confine(s);
    execve(s->path, s->argv, s->env);
    _exit(127);
}

/* ---- before ------------------------------------------------------------ */

static bool find_program(const char *name, char ret[PATH_MAX])
{
    const char *path = getenv("PATH");

    if (!path)
        path = "/usr/local/bin:/usr/bin:/bin";
    while (*path) {
        const char *end = strchrnul(path, ':');
        int n =
            snprintf(ret, PATH_MAX, "%.*s/%s", (int)(end - path), path, name);

        if (*path == '/' && n < PATH_MAX && access(ret, X_OK) == 0)
            return true;
        path = *end ? end + 1 : end;
    }
    return false;
}

/* An empty folder that has no name any more, or -1. */
static int lone_folder(void)
{
    const char *below = getenv("TMPDIR");
    char path[PATH_MAX];
    int fd;

    snprintf(path, sizeof(path), "%s/lensclerk.XXXXXX",
        below && *below == '/' ? below : "/tmp");
    if (!mkdtemp(path))
        return -1;
    fd = open(path, O_PATH | O_DIRECTORY | O_CLOEXEC);
    rmdir(path);
    return fd;
}

/* The bytes as a file without a name, at its beginning, or -1. */
static int memory_file(const void *bytes, size_t len)
{
    int fd = memfd_create("input", MFD_CLOEXEC);
    size_t done = 0;

    while (fd >= 0 && done < len) {
        ssize_t n = write(fd, (const char *)bytes + done, len - done);

        if (n < 0 && errno == EINTR)
            continue;
        if (n <= 0) {
            close(fd);
            return -1;
        }
        done += (size_t)n;
    }
    if (fd >= 0)
        lseek(fd, 0, SEEK_SET);
    return fd;
}

static void close_all(const int *fds, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (fds[i] >= 0)
            close(fds[i]);
}

/* Its pid, or -1; *ret_out is what to read from. */
static pid_t start_child(
    struct start *s, const void *in, size_t len, int *ret_out)
{
    int ends[2] = {-1, -1};
    pid_t pid = -1;

    s->in = memory_file(in, len);
    s->folder = lone_folder();
    s->nowhere = open("/dev/null", O_WRONLY | O_CLOEXEC);
    if (s->in >= 0 && s->folder >= 0 && s->nowhere >= 0 &&
        pipe2(ends, O_CLOEXEC) == 0) {
        s->out = ends[1];
        pid = fork();
    }
    if (pid == 0)
        become(s);
    close_all((int[]){s->in, s->folder, s->nowhere, ends[1]}, 4);
    if (pid < 0)
        close_all(ends, 1);
    else
        *ret_out = ends[0];
    return pid;
}

/* ---- while it runs ----------------------------------------------------- */

/* CHILD_OK: it has closed its output. */
static enum child_end hear(
    int fd, int64_t until_ms, size_t most, struct text *out)
{
    for (;;) {
        struct pollfd p = {.fd = fd, .events = POLLIN};
        int64_t left = until_ms - instant_clock_ms();
        char *room;
        ssize_t n;

        if (left <= 0)
            return CHILD_SLOW;
        if (poll(&p, 1, (int)left) <= 0)
            continue;
        room = text_space(out, 65536);
        n = read(fd, room, 65536);
        if (n == 0)
            return CHILD_OK;
        if (n > 0)
            text_added(out, (size_t)n);
        else if (errno != EINTR)
            return CHILD_FAILED;
        if (out->len > most)
            return CHILD_LONG;
    }
}

static enum child_end ended(int status)
{
    if (WIFEXITED(status) && WEXITSTATUS(status) == 0)
        return CHILD_OK;
    if (WIFEXITED(status) && WEXITSTATUS(status) == 126)
        return CHILD_UNABLE;
    if (WIFEXITED(status) && WEXITSTATUS(status) == 127)
        return CHILD_MISSING;
    /* The limit of its time is told by the one or the other. */
    if (WIFSIGNALED(status) &&
        (WTERMSIG(status) == SIGXCPU || WTERMSIG(status) == SIGKILL))
        return CHILD_SLOW;
    return CHILD_FAILED;
}

static enum child_end wait_for(pid_t pid, int64_t until_ms)
{
    struct timespec tick = {0, TICK_NS};
    int status;

    while (waitpid(pid, &status, WNOHANG) == 0) {
        if (instant_clock_ms() >= until_ms)
            kill(pid, SIGKILL);
        nanosleep(&tick, NULL);
    }
    return ended(status);
}

enum child_end child_run(const struct child_program *program,
    const struct child_limits *limits, const void *in, size_t len,
    struct text *out)
{
    char home[] = "PATH=/usr/bin:/bin";
    struct start s = {.limits = limits, .env = {home, NULL}};
    int64_t until_ms = instant_clock_ms() + limits->wall_ms;
    enum child_end end;
    pid_t pid;
    int fd;

    if (!find_program(program->name, s.path))
        return CHILD_MISSING;
    s.argv[0] = s.path;
    for (size_t i = 0; i < ARGS_MAX && program->args[i]; i++)
        s.argv[i + 1] = (char *)(uintptr_t)program->args[i];
    make_filter(&s.filter);
    pid = start_child(&s, in, len, &fd);
    if (pid < 0)
        return CHILD_UNABLE;
    end = hear(fd, until_ms, limits->output_max, out);
    if (end != CHILD_OK)
        kill(pid, SIGKILL);
    close(fd);
    if (end == CHILD_OK)
        return wait_for(pid, until_ms);
    (void)wait_for(pid, until_ms);
    return end;
}
