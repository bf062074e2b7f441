/* forward_spool.c - the folder, and how an item leaves the queue. */
#include "forward_spool.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/arena.h"
#include "base/json_in.h"
#include "base/text.h"
#include "forward_file.h"
#include "forward_inside.h"

#define DIR_AUTO __attribute__((cleanup(dir_close))) DIR
#define REASON ".reason.txt"

static void dir_close(DIR **dir)
{
    if (*dir)
        closedir(*dir);
}

static void shut(int fd)
{
    if (fd >= 0)
        close(fd);
}

/* The names of a folder; the descriptor stays the caller's. */
static DIR *dir_list(int fd)
{
    int own = openat(fd, ".", O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    DIR *dir = own < 0 ? NULL : fdopendir(own);

    if (!dir)
        shut(own);
    return dir;
}

uint64_t forward_item_number(const char *file_name)
{
    uint64_t number = 0;

    if (strlen(file_name) != 21 || strcmp(file_name + 16, ".item") != 0)
        return 0;
    for (int i = 0; i < 16; i++) {
        if (file_name[i] < '0' || file_name[i] > '9')
            return 0;
        number = number * 10 + (uint64_t)(file_name[i] - '0');
    }
    return number;
}

void forward_item_name(uint64_t number, char ret[FORWARD_ITEM_NAME_SIZE])
{
    snprintf(ret, FORWARD_ITEM_NAME_SIZE, FORWARD_ITEM_NAME,
        (unsigned long long)number);
}

/* ---- the folder ------------------------------------------------------- */

/* Who only looks holds the lock for a moment. */
static bool lock_take(int fd)
{
    for (int i = 0; i < 10; i++) {
        if (flock(fd, LOCK_EX | LOCK_NB) == 0)
            return true;
        usleep(20000);
    }
    return false;
}

/* Removes what was never finished and finds the last number. */
static void queue_tidy(struct forward_spool *spool)
{
    DIR_AUTO *dir = dir_list(spool->queue_fd);
    const struct dirent *entry;

    while (dir && (entry = readdir(dir))) {
        uint64_t number = forward_item_number(entry->d_name);

        if (number > spool->last_number)
            spool->last_number = number;
        if (strncmp(entry->d_name, "draft-", 6) == 0)
            unlinkat(spool->queue_fd, entry->d_name, 0);
    }
}

static enum rc open_in(struct forward_spool *spool, const char *dir,
    const char *refused, struct err *err)
{
    spool->dir_fd = forward_file_folder(AT_FDCWD, dir);
    if (spool->dir_fd < 0)
        return err_set(err, RC_INTERNAL, NULL, "can't open the spool %s: %s",
            dir, strerror(errno));
    spool->lock_fd =
        openat(spool->dir_fd, "lock", O_RDWR | O_CREAT | O_CLOEXEC, 0600);
    if (spool->lock_fd < 0)
        return err_set(err, RC_INTERNAL, NULL, "can't open %s/lock: %s", dir,
            strerror(errno));
    if (!lock_take(spool->lock_fd))
        return err_set(err, RC_CONFLICT, NULL,
            "another lensclerk-forward uses the spool %s", dir);
    spool->queue_fd = forward_file_folder(spool->dir_fd, "queue");
    spool->refused_fd = refused ? forward_file_folder(AT_FDCWD, refused)
                                : forward_file_folder(spool->dir_fd, "refused");
    if (spool->queue_fd < 0 || spool->refused_fd < 0)
        return err_set(err, RC_INTERNAL, NULL, "can't open %s: %s",
            spool->queue_fd < 0 ? "the spool's queue" : spool->refused,
            strerror(errno));
    queue_tidy(spool);
    return RC_OK;
}

static char *refused_path(const char *dir, const char *refused)
{
    TEXT_AUTO path = {0};

    if (refused)
        text_puts(&path, refused);
    else
        text_printf(&path, "%s/refused", dir);
    return text_take(&path, NULL);
}

enum rc forward_spool_open(const char *dir, const char *refused,
    struct forward_spool **ret, struct err *err)
{
    struct forward_spool *spool = xcalloc(1, sizeof(*spool));
    enum rc rc;

    spool->lock_fd = spool->dir_fd = spool->queue_fd = spool->refused_fd = -1;
    spool->refused = refused_path(dir, refused);
    rc = open_in(spool, dir, refused, err);
    if (rc != RC_OK) {
        forward_spool_free(spool);
        return rc;
    }
    *ret = spool;
    return RC_OK;
}

void forward_spool_free(struct forward_spool *spool)
{
    if (!spool)
        return;
    shut(spool->queue_fd);
    shut(spool->refused_fd);
    shut(spool->dir_fd);
    shut(spool->lock_fd);
    free(spool->refused);
    free(spool);
}

const char *forward_spool_refused(const struct forward_spool *spool)
{
    return spool->refused;
}

/* ---- the next item ---------------------------------------------------- */

/* Keeps the lowest numbers of all, in order. */
static void batch_put(struct forward_spool *spool, uint64_t number)
{
    size_t i = spool->n_batch;

    if (i == FORWARD_BATCH) {
        if (number >= spool->batch[--i])
            return;
    } else {
        spool->n_batch++;
    }
    for (; i > 0 && spool->batch[i - 1] > number; i--)
        spool->batch[i] = spool->batch[i - 1];
    spool->batch[i] = number;
}

static bool batch_fill(struct forward_spool *spool)
{
    DIR_AUTO *dir = dir_list(spool->queue_fd);
    const struct dirent *entry;

    spool->n_batch = spool->at = 0;
    while (dir && (entry = readdir(dir))) {
        uint64_t number = forward_item_number(entry->d_name);

        if (number > 0)
            batch_put(spool, number);
    }
    return spool->n_batch > 0;
}

static bool label_text(struct json_in in, const char *name, char *ret)
{
    const char *text = "";

    json_in_text(json_in_get(in, name), FORWARD_WORD_MOST, &text);
    if (strlen(text) > FORWARD_WORD_MOST)
        return false;
    memcpy(ret, text, strlen(text) + 1);
    return true;
}

static bool label_read(struct forward_item *item, const json_t *json,
    struct err *err, int64_t *ret_length)
{
    struct json_in in = json_in_root(json, err);
    const char *key = "", *name = "";
    int64_t kind = 0;

    json_in_int(json_in_get(in, "lensclerk_forward"), 1, 1, &kind);
    json_in_int(json_in_get(in, "length"), 0, INT64_MAX, ret_length);
    json_in_text(json_in_get(in, "key"), FORWARD_KEY_SIZE - 1, &key);
    json_in_text(json_in_get(in, "name"), FORWARD_NAME_SIZE, &name);
    if (kind != 1 || strlen(key) != FORWARD_KEY_SIZE - 1 ||
        !label_text(in, "media", item->label.media) ||
        !label_text(in, "profile", item->label.profile))
        return false;
    memcpy(item->key, key, FORWARD_KEY_SIZE);
    forward_name_safe(name, item->label.name);
    return err->rc == RC_OK;
}

static bool label_load(struct forward_item *item, int64_t *ret_length)
{
    struct arena *arena = arena_new();
    struct err err = ERR_INIT(arena);
    char bytes[FORWARD_LABEL_SIZE];
    json_t *json = NULL;
    bool well;

    *ret_length = -1;
    well = pread(item->fd, bytes, sizeof(bytes), 0) == sizeof(bytes) &&
           json_in_parse(bytes, sizeof(bytes), &json, &err) == RC_OK &&
           label_read(item, json, &err, ret_length);
    json_decref(json);
    arena_free(arena);
    return well;
}

/* The content is what the key says. */
static bool key_fits(const struct forward_item *item)
{
    crypto_hash_sha256_state hash;
    char chunk[65536], key[FORWARD_KEY_SIZE];
    ssize_t n;

    forward_key_begin(&hash, &item->label);
    while ((n = read(item->fd, chunk, sizeof(chunk))) > 0)
        crypto_hash_sha256_update(
            &hash, (const unsigned char *)chunk, (unsigned long long)n);
    forward_key_end(&hash, key);
    return n == 0 && strcmp(key, item->key) == 0;
}

static bool item_whole(struct forward_item *item)
{
    struct stat st;
    int64_t length;

    if (fstat(item->fd, &st) || !label_load(item, &length))
        return false;
    item->length = st.st_size - FORWARD_LABEL_SIZE;
    return item->length == length &&
           lseek(item->fd, FORWARD_LABEL_SIZE, SEEK_SET) >= 0 &&
           key_fits(item) && lseek(item->fd, FORWARD_LABEL_SIZE, SEEK_SET) >= 0;
}

/* A disk that loses what it had confirmed: nothing can be sent, but a person
 * may still read something there. */
static void set_damaged_aside(struct forward_spool *spool, uint64_t number)
{
    static const char reason[] =
        "This file of the spool is damaged, and was not sent: its length or "
        "its\nhash is not what was noted when it was written. Look at the "
        "disk, and send\nthe measurement again from the instrument.\n";
    char name[FORWARD_ITEM_NAME_SIZE], to[64], beside[80];
    int fd;

    forward_item_name(number, name);
    snprintf(to, sizeof(to), "damaged-%s", name);
    snprintf(beside, sizeof(beside), "%s%s", to, REASON);
    fd = openat(spool->queue_fd, name, O_RDONLY | O_CLOEXEC);
    if (forward_file_put(
            spool->refused_fd, beside, reason, sizeof(reason) - 1) &&
        fd >= 0 && forward_file_copy(spool->refused_fd, to, fd))
        unlinkat(spool->queue_fd, name, 0);
    shut(fd);
}

bool forward_spool_next(struct forward_spool *spool, struct forward_item *ret,
    unsigned *ret_damaged)
{
    char name[FORWARD_ITEM_NAME_SIZE];
    bool filled = false;

    for (;; spool->at++) {
        if (spool->at == spool->n_batch && (filled || !batch_fill(spool)))
            return false;
        filled = filled || spool->at == 0;
        *ret = (struct forward_item){.number = spool->batch[spool->at]};
        forward_item_name(ret->number, name);
        ret->fd = openat(spool->queue_fd, name, O_RDONLY | O_CLOEXEC);
        if (ret->fd < 0)
            continue;
        if (item_whole(ret))
            return true;
        forward_item_close(ret);
        set_damaged_aside(spool, ret->number);
        ++*ret_damaged;
    }
}

void forward_item_close(struct forward_item *item)
{
    close(item->fd);
    item->fd = -1;
}

/* ---- out of the queue ------------------------------------------------- */

static void leave(struct forward_spool *spool, struct forward_item *item)
{
    forward_item_close(item);
    if (spool->at < spool->n_batch && spool->batch[spool->at] == item->number)
        spool->at++;
}

void forward_spool_done(struct forward_spool *spool, struct forward_item *item)
{
    char name[FORWARD_ITEM_NAME_SIZE];

    /* Not made durable: one that comes back is sent again under its key. */
    forward_item_name(item->number, name);
    unlinkat(spool->queue_fd, name, 0);
    leave(spool, item);
}

void forward_spool_back(struct forward_spool *spool, struct forward_item *item)
{
    char name[FORWARD_ITEM_NAME_SIZE], last[FORWARD_ITEM_NAME_SIZE];

    forward_item_name(item->number, name);
    forward_item_name(spool->last_number + 1, last);
    if (renameat(spool->queue_fd, name, spool->queue_fd, last) == 0)
        spool->last_number++;
    leave(spool, item);
}

/* The first of name, 2-name, 3-name … that nobody has, or that holds just
 * this content (from before an interruption, or refused once already). */
static bool refused_name(const struct forward_spool *spool,
    const struct forward_item *item, char *ret, size_t size)
{
    for (unsigned n = 1; n < 100000; n++) {
        bool same;
        int fd;

        if (n == 1)
            snprintf(ret, size, "%s", item->label.name);
        else
            snprintf(ret, size, "%u-%s", n, item->label.name);
        fd = openat(spool->refused_fd, ret, O_RDONLY | O_CLOEXEC | O_NOFOLLOW);
        if (fd < 0 && errno == ENOENT)
            return true;
        if (fd < 0)
            continue;
        same = forward_file_same(item->fd, FORWARD_LABEL_SIZE, fd, 0);
        close(fd);
        if (same)
            return true;
    }
    errno = EEXIST;
    return false;
}

enum rc forward_spool_refuse(struct forward_spool *spool,
    struct forward_item *item, const char *reason, struct err *err)
{
    char name[FORWARD_NAME_SIZE + 8], beside[FORWARD_NAME_SIZE + 24];

    if (!refused_name(spool, item, name, sizeof(name)) ||
        lseek(item->fd, FORWARD_LABEL_SIZE, SEEK_SET) < 0 ||
        !forward_file_copy(spool->refused_fd, name, item->fd))
        return err_set(err, RC_BUSY, NULL, "can't write to %s: %s",
            spool->refused, strerror(errno));
    snprintf(beside, sizeof(beside), "%s%s", name, REASON);
    if (!forward_file_put(spool->refused_fd, beside, reason, strlen(reason)))
        return err_set(err, RC_BUSY, NULL, "can't write to %s: %s",
            spool->refused, strerror(errno));
    forward_spool_done(spool, item);
    return RC_OK;
}

/* ---- from outside ----------------------------------------------------- */

static void count_waiting(int fd, struct forward_counts *counts)
{
    DIR_AUTO *dir = dir_list(fd);
    const struct dirent *entry;

    while (dir && (entry = readdir(dir))) {
        struct stat st;
        int64_t us;

        if (forward_item_number(entry->d_name) == 0 ||
            fstatat(fd, entry->d_name, &st, 0))
            continue;
        us = (int64_t)st.st_mtim.tv_sec * 1000000 + st.st_mtim.tv_nsec / 1000;
        counts->waiting++;
        if (counts->oldest_us == 0 || us < counts->oldest_us)
            counts->oldest_us = us;
    }
}

static void count_refused(int fd, struct forward_counts *counts)
{
    DIR_AUTO *dir = dir_list(fd);
    const struct dirent *entry;

    while (dir && (entry = readdir(dir))) {
        size_t len = strlen(entry->d_name);

        counts->refused +=
            len > strlen(REASON) &&
            strcmp(entry->d_name + len - strlen(REASON), REASON) == 0;
    }
}

static bool lock_held(int dir_fd)
{
    int fd = openat(dir_fd, "lock", O_RDONLY | O_CLOEXEC);
    bool held;

    if (fd < 0)
        return false;
    held = flock(fd, LOCK_SH | LOCK_NB) != 0;
    close(fd);
    return held;
}

static int folder_at(int dir_fd, const char *path)
{
    return openat(dir_fd, path, O_RDONLY | O_DIRECTORY | O_CLOEXEC);
}

enum rc forward_spool_count(const char *dir, const char *refused,
    struct forward_counts *ret, struct err *err)
{
    int dir_fd = folder_at(AT_FDCWD, dir), fd;

    *ret = (struct forward_counts){0};
    if (dir_fd < 0)
        return err_set(err, RC_NOT_FOUND, NULL, "can't open the spool %s: %s",
            dir, strerror(errno));
    ret->running = lock_held(dir_fd);
    fd = folder_at(dir_fd, "queue");
    count_waiting(fd, ret);
    shut(fd);
    fd = refused ? folder_at(AT_FDCWD, refused) : folder_at(dir_fd, "refused");
    count_refused(fd, ret);
    shut(fd);
    close(dir_fd);
    return RC_OK;
}
