#include "forward_watch.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <linux/magic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/inotify.h>
#include <sys/stat.h>
#include <sys/vfs.h>
#include <unistd.h>

#include "base/arena.h"
#include "forward_file.h"

#define FILES_MOST 1024 /* looked at together; others wait for their turn */
#define TAKEN_A_STEP 8  /* then the queue is looked after */
#define LOOK_MS 5000    /* network folders tell nobody what changes */
#define TROUBLE_MS 2000 /* between tries on a full disk */
#define TAKEN_PREFIX ".taken-"

/* What tells one state of a file from another. */
struct mark {
    dev_t dev;
    ino_t ino;
    off_t size;
    struct timespec changed;
};

struct seen {
    char name[NAME_MAX + 1];
    struct mark mark;
    int64_t since_ms; /* it hasn't changed since then */
    bool here;        /* found in this look */
    bool done;        /* its content is in the queue */
};

struct forward_watch {
    const struct forward_watch_options *options; /* borrowed */
    int dir_fd, keep_fd, inotify_fd;
    int watched;    /* inotify's number of the folder, -1: none */
    unsigned taken; /* names made */
    struct seen files[FILES_MOST];
    size_t n, found;
};

#define EVENTS (IN_CLOSE_WRITE | IN_MOVED_TO | IN_CREATE | IN_ONLYDIR)

/* The folder of that name now: it may be another one than before, as after a
 * network folder was away. */
static enum rc folder_open(struct forward_watch *w, struct err *err)
{
    int fd = open(w->options->dir, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    struct stat now, before;

    if (fd < 0)
        return err_set(err, RC_BUSY, NULL, "can't look into the folder %s: %s",
            w->options->dir, strerror(errno));
    if (w->dir_fd >= 0 && fstat(fd, &now) == 0 &&
        fstat(w->dir_fd, &before) == 0 && now.st_dev == before.st_dev &&
        now.st_ino == before.st_ino) {
        close(fd);
        return RC_OK;
    }
    if (w->dir_fd >= 0)
        close(w->dir_fd);
    w->dir_fd = fd;
    /* Without it the folder is looked at every LOOK_MS. */
    if (w->watched >= 0)
        inotify_rm_watch(w->inotify_fd, w->watched);
    w->watched = inotify_add_watch(w->inotify_fd, w->options->dir, EVENTS);
    return RC_OK;
}

static enum rc parts_open(struct forward_watch *w, struct err *err)
{
    const char *keep = w->options->keep;

    w->inotify_fd = inotify_init1(IN_CLOEXEC | IN_NONBLOCK);
    TRY(folder_open(w, err));
    if (keep)
        w->keep_fd = forward_file_folder(AT_FDCWD, keep);
    if (keep && w->keep_fd < 0)
        return err_set(err, RC_INVALID, NULL, "can't open the folder %s: %s",
            keep, strerror(errno));
    return RC_OK;
}

enum rc forward_watch_new(const struct forward_watch_options *options,
    struct forward_watch **ret, struct err *err)
{
    struct forward_watch *w = xcalloc(1, sizeof(*w));
    enum rc rc;

    w->options = options;
    w->dir_fd = w->inotify_fd = w->keep_fd = w->watched = -1;
    rc = parts_open(w, err);
    if (rc != RC_OK) {
        forward_watch_free(w);
        return rc;
    }
    *ret = w;
    return RC_OK;
}

void forward_watch_free(struct forward_watch *watch)
{
    if (!watch)
        return;
    if (watch->dir_fd >= 0)
        close(watch->dir_fd);
    if (watch->keep_fd >= 0)
        close(watch->keep_fd);
    if (watch->inotify_fd >= 0)
        close(watch->inotify_fd);
    free(watch);
}

int forward_watch_fd(const struct forward_watch *watch)
{
    return watch->inotify_fd;
}

/* ---- looking ---------------------------------------------------------- */

static struct mark mark_of(const struct stat *st)
{
    return (struct mark){st->st_dev, st->st_ino, st->st_size, st->st_mtim};
}

static bool mark_same(const struct mark *a, const struct mark *b)
{
    return a->dev == b->dev && a->ino == b->ino && a->size == b->size &&
           a->changed.tv_sec == b->changed.tv_sec &&
           a->changed.tv_nsec == b->changed.tv_nsec;
}

static bool is_taken(const char *name)
{
    return strncmp(name, TAKEN_PREFIX, strlen(TAKEN_PREFIX)) == 0;
}

/* What can be a measurement, or was taken by us. */
static bool wanted(
    const struct forward_watch *w, const char *name, struct stat *ret)
{
    if (*name == '.' && !is_taken(name))
        return false;
    return fstatat(w->dir_fd, name, ret, AT_SYMLINK_NOFOLLOW) == 0 &&
           S_ISREG(ret->st_mode) && ret->st_size > 0;
}

/* From behind the last one on: a folder is mostly listed in one order. */
static struct seen *find(struct forward_watch *w, const char *name)
{
    for (size_t i = 0; i < w->n; i++) {
        size_t at = (w->found + 1 + i) % w->n;

        if (strcmp(w->files[at].name, name) == 0) {
            w->found = at;
            return &w->files[at];
        }
    }
    return NULL;
}

static void note(struct forward_watch *w, const char *name,
    const struct stat *st, int64_t now_ms)
{
    struct seen *f = find(w, name);
    struct mark mark = mark_of(st);

    if (!f) {
        if (w->n == FILES_MOST)
            return;
        f = &w->files[w->n++];
        *f = (struct seen){.since_ms = now_ms, .mark = mark};
        snprintf(f->name, sizeof(f->name), "%s", name);
    } else if (!mark_same(&f->mark, &mark)) {
        f->mark = mark;
        f->since_ms = now_ms;
        f->done = false;
    }
    f->here = true;
}

static enum rc look(struct forward_watch *w, int64_t now_ms, struct err *err)
{
    const struct dirent *entry;
    size_t kept = 0;
    struct stat st;
    DIR *dir;
    int own;

    TRY(folder_open(w, err));
    own = openat(w->dir_fd, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    dir = own < 0 ? NULL : fdopendir(own);
    if (!dir) {
        err_set(err, RC_BUSY, NULL, "can't look into the folder %s: %s",
            w->options->dir, strerror(errno));
        if (own >= 0)
            close(own);
        return RC_BUSY;
    }
    for (size_t i = 0; i < w->n; i++)
        w->files[i].here = false;
    while ((entry = readdir(dir)))
        if (wanted(w, entry->d_name, &st))
            note(w, entry->d_name, &st, now_ms);
    closedir(dir);
    for (size_t i = 0; i < w->n; i++)
        if (w->files[i].here)
            w->files[kept++] = w->files[i];
    w->n = kept;
    return RC_OK;
}

/* ---- taking ----------------------------------------------------------- */

/* Network folders answer EAGAIN when the server gave them no say. */
static bool on_network(int fd)
{
    struct statfs fs;

    if (fstatfs(fd, &fs))
        return true;
    switch ((uint32_t)fs.f_type) {
    case NFS_SUPER_MAGIC:
    case SMB_SUPER_MAGIC:
    case CIFS_SUPER_MAGIC:
    case SMB2_SUPER_MAGIC:
        return true;
    default:
        return false;
    }
}

/* A lease that can't be had for this reason shows that somebody writes.  Other
 * reasons (somebody else's file) show nothing. */
static bool being_written(int fd)
{
    if (on_network(fd))
        return false;
    if (fcntl(fd, F_SETLEASE, F_RDLCK) == 0) {
        fcntl(fd, F_SETLEASE, F_UNLCK);
        return false;
    }
    return errno == EAGAIN;
}

/* .taken-12-NAME was NAME. */
static const char *first_name(const char *name)
{
    const char *at = name + strlen(TAKEN_PREFIX);

    if (!is_taken(name))
        return name;
    at += strspn(at, "0123456789");
    return *at == '-' && at[1] ? at + 1 : name;
}

static void label_of(
    const struct forward_watch *w, const char *name, struct forward_label *ret)
{
    const char *first = first_name(name);
    const char *media =
        w->options->media ? w->options->media : forward_media_of(first);

    *ret = (struct forward_label){0};
    snprintf(ret->media, sizeof(ret->media), "%s", media);
    snprintf(ret->profile, sizeof(ret->profile), "%s",
        w->options->profile ? w->options->profile : "");
    forward_name_safe(first, ret->name);
}

static enum rc copy_in(int fd, struct forward_draft *draft, struct err *err)
{
    char chunk[65536];
    ssize_t n;

    while ((n = read(fd, chunk, sizeof(chunk))) != 0) {
        if (n < 0)
            return err_set(
                err, RC_BUSY, NULL, "can't read a file: %s", strerror(errno));
        TRY(forward_draft_add(draft, chunk, (size_t)n, err));
    }
    return RC_OK;
}

/* Into the queue; RC_STALE when it changed while it was read. */
static enum rc spool_file(const struct forward_watch *w, const struct seen *f,
    int fd, struct forward_spool *spool, struct err *err)
{
    struct forward_draft *draft;
    struct forward_label label;
    struct stat st;
    struct mark after;
    enum rc rc;

    label_of(w, f->name, &label);
    TRY(forward_draft_new(spool, &label, &draft, err));
    rc = copy_in(fd, draft, err);
    if (rc == RC_OK && fstat(fd, &st) == 0) {
        after = mark_of(&st);
        if (!mark_same(&after, &f->mark))
            rc = RC_STALE;
    }
    /* What could not be made durable is copied anew from the file. */
    if (rc == RC_OK)
        rc = forward_draft_commit(draft, NULL, err);
    if (rc != RC_OK)
        forward_draft_free(draft);
    return rc;
}

static enum rc cant_remove(struct err *err, const char *why)
{
    return err_set(err, RC_CONFLICT, NULL,
        "a file is in the queue and can't be taken out of the folder: %s", why);
}

/* Out of its writer's way.  Where that fails it stays as it is, and isn't
 * taken again while it doesn't change. */
static enum rc step_aside(
    struct forward_watch *w, struct seen *f, struct err *err)
{
    char name[NAME_MAX + 1];

    f->done = true;
    if (is_taken(f->name))
        return RC_OK;
    for (unsigned i = 0; i < 1000; i++) {
        snprintf(
            name, sizeof(name), TAKEN_PREFIX "%u-%.200s", ++w->taken, f->name);
        if (renameat2(w->dir_fd, f->name, w->dir_fd, name, RENAME_NOREPLACE) ==
            0) {
            snprintf(f->name, sizeof(f->name), "%s", name);
            return RC_OK;
        }
        if (errno == EINVAL && faccessat(w->dir_fd, name, F_OK, 0) != 0 &&
            renameat(w->dir_fd, f->name, w->dir_fd, name) == 0) {
            snprintf(f->name, sizeof(f->name), "%s", name);
            return RC_OK;
        }
        if (errno != EEXIST)
            break;
    }
    return cant_remove(err, strerror(errno));
}

static enum rc take(struct forward_watch *w, struct seen *f,
    struct forward_spool *spool, int64_t now_ms, struct err *err)
{
    int fd = openat(
        w->dir_fd, f->name, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
    enum rc rc;

    if (fd < 0 && errno == ENOENT)
        return RC_STALE;
    if (fd < 0)
        return err_set(
            err, RC_CONFLICT, NULL, "can't open a file: %s", strerror(errno));
    rc = being_written(fd) ? RC_STALE : spool_file(w, f, fd, spool, err);
    close(fd);
    f->since_ms = now_ms;
    return rc == RC_OK ? step_aside(w, f, err) : rc;
}

/* Another device can't be renamed to: then a copy. */
static bool keep_file(struct forward_watch *w, const char *name)
{
    char kept[FORWARD_NAME_SIZE], to[FORWARD_NAME_SIZE + 16];
    bool well = false;
    int fd;

    forward_name_safe(first_name(name), kept);
    snprintf(to, sizeof(to), "%s", kept);
    for (unsigned n = 2;
         faccessat(w->keep_fd, to, F_OK, AT_SYMLINK_NOFOLLOW) == 0 &&
         n < 100000;
         n++)
        snprintf(to, sizeof(to), "%u-%s", n, kept);
    if (renameat(w->dir_fd, name, w->keep_fd, to) == 0)
        return true;
    if (errno != EXDEV)
        return false;
    fd = openat(w->dir_fd, name, O_RDONLY | O_NOFOLLOW | O_CLOEXEC);
    if (fd >= 0) {
        well = forward_file_copy(w->keep_fd, to, fd) &&
               unlinkat(w->dir_fd, name, 0) == 0;
        close(fd);
    }
    return well;
}

/* Removes what was taken, unless somebody writes to it still. */
static enum rc finish(struct forward_watch *w, struct seen *f, int64_t now_ms,
    struct forward_watch_news *news, struct err *err)
{
    int fd = openat(
        w->dir_fd, f->name, O_RDONLY | O_NOFOLLOW | O_NONBLOCK | O_CLOEXEC);
    bool open_still = fd >= 0 && being_written(fd);
    struct mark now = f->mark;
    struct stat st;

    if (fd >= 0 && fstat(fd, &st) == 0)
        now = mark_of(&st);
    if (fd >= 0)
        close(fd);
    f->since_ms = now_ms;
    if (open_still || !mark_same(&now, &f->mark))
        return RC_OK; /* the next look sees */
    if (w->keep_fd >= 0 ? keep_file(w, f->name)
                        : unlinkat(w->dir_fd, f->name, 0) == 0) {
        news->removed++;
        return RC_OK;
    }
    return cant_remove(err, strerror(errno));
}

/* One call of forward_watch_step. */
struct step {
    struct forward_watch *watch;
    struct forward_spool *spool;
    int64_t now_ms;
    struct forward_watch_news *news;
};

static enum rc step_file(
    const struct step *step, struct seen *f, struct err *err)
{
    struct forward_watch *w = step->watch;
    enum rc rc;

    if (f->done && is_taken(f->name))
        return finish(w, f, step->now_ms, step->news, err);
    if (f->done)
        return RC_OK;
    rc = take(w, f, step->spool, step->now_ms, err);
    if (rc == RC_STALE)
        return RC_OK;
    step->news->taken += f->done;
    return rc;
}

static void drain(int fd)
{
    char events[4096];

    while (fd >= 0 && read(fd, events, sizeof(events)) > 0)
        continue;
}

enum rc forward_watch_step(struct forward_watch *watch,
    struct forward_spool *spool, int64_t now_ms, struct forward_watch_news *ret,
    struct err *err)
{
    const struct step step = {watch, spool, now_ms, ret};
    enum rc rc;

    *ret = (struct forward_watch_news){
        .due_ms = now_ms + LOOK_MS, .settled = true};
    drain(watch->inotify_fd);
    rc = look(watch, now_ms, err);
    for (size_t i = 0; i < watch->n && rc != RC_BUSY; i++) {
        struct seen *f = &watch->files[i];
        int64_t due = f->since_ms + watch->options->quiet_ms;

        if (due <= now_ms && ret->taken < TAKEN_A_STEP) {
            enum rc one = step_file(&step, f, err);

            /* A full disk stops all; one bad file doesn't stop the others. */
            rc = one == RC_OK ? rc : one;
            due = now_ms + watch->options->quiet_ms;
        }
        if (f->done && !is_taken(f->name)) {
            if (rc == RC_OK)
                rc = cant_remove(err, "somebody has to remove it");
            continue;
        }
        ret->settled = false;
        if (due < ret->due_ms)
            ret->due_ms = due;
    }
    if (rc == RC_BUSY)
        ret->due_ms = now_ms + TROUBLE_MS;
    return rc;
}
