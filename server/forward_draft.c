/* forward_draft.c - how an item comes into the queue. */
#include <assert.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/arena.h"
#include "base/hash.h"
#include "base/json_out.h"
#include "forward_file.h"
#include "forward_inside.h"

struct forward_draft {
    struct forward_spool *spool;
    struct forward_label label;
    crypto_hash_sha256_state hash;
    char name[FORWARD_ITEM_NAME_SIZE];
    char key[FORWARD_KEY_SIZE]; /* once committing */
    int fd;
    off_t length;    /* of the content */
    uint64_t number; /* 0: not in the queue yet */
    bool suspect;    /* a write to the disk failed: the system may have
                        dropped what it held and call the file clean */
};

void forward_key_begin(
    crypto_hash_sha256_state *state, const struct forward_label *label)
{
    crypto_hash_sha256_init(state);
    crypto_hash_sha256_update(
        state, (const unsigned char *)label->media, strlen(label->media) + 1);
    crypto_hash_sha256_update(state, (const unsigned char *)label->profile,
        strlen(label->profile) + 1);
}

void forward_key_end(
    crypto_hash_sha256_state *state, char ret[FORWARD_KEY_SIZE])
{
    uint8_t hash[HASH_SIZE];

    crypto_hash_sha256_final(state, hash);
    hash_hex(hash, HASH_SIZE, ret);
}

/* Room for the label is taken at once, so that a full disk shows here. */
enum rc forward_draft_new(struct forward_spool *spool,
    const struct forward_label *label, struct forward_draft **ret,
    struct err *err)
{
    struct forward_draft *draft = xcalloc(1, sizeof(*draft));
    char blank[FORWARD_LABEL_SIZE];

    draft->spool = spool;
    draft->label = *label;
    snprintf(draft->name, sizeof(draft->name), "draft-%u", ++spool->drafts);
    forward_key_begin(&draft->hash, label);
    memset(blank, ' ', sizeof(blank));
    draft->fd = openat(spool->queue_fd, draft->name,
        O_RDWR | O_CREAT | O_TRUNC | O_CLOEXEC, 0600);
    if (draft->fd < 0 ||
        !forward_file_write(draft->fd, blank, sizeof(blank), 0)) {
        err_set(err, RC_BUSY, NULL, "can't write to the spool: %s",
            strerror(errno));
        forward_draft_free(draft);
        return RC_BUSY;
    }
    *ret = draft;
    return RC_OK;
}

enum rc forward_draft_add(
    struct forward_draft *draft, const void *bytes, size_t len, struct err *err)
{
    off_t end = FORWARD_LABEL_SIZE + draft->length;

    if (!forward_file_write(draft->fd, bytes, len, end)) {
        err_set(err, RC_BUSY, NULL, "can't write to the spool: %s",
            strerror(errno));
        /* What is beyond the end is overwritten, or cut at the commit. */
        return RC_BUSY;
    }
    crypto_hash_sha256_update(&draft->hash, bytes, len);
    draft->length += (off_t)len;
    return RC_OK;
}

off_t forward_draft_length(const struct forward_draft *draft)
{
    return draft->length;
}

static bool write_label(const struct forward_draft *draft)
{
    TEXT_AUTO text = {0};
    struct json_out o = JSON_OUT(&text);

    json_out_object(&o, NULL);
    json_out_int(&o, "lensclerk_forward", 1);
    json_out_int(&o, "length", draft->length);
    json_out_text(&o, "key", draft->key);
    json_out_text(&o, "media", draft->label.media);
    json_out_text(
        &o, "profile", *draft->label.profile ? draft->label.profile : NULL);
    json_out_text(&o, "name", draft->label.name);
    json_out_object_end(&o);
    text_putc(&text, '\n');
    assert(text.len <= FORWARD_LABEL_SIZE); /* by the sizes of its members */
    return forward_file_write(draft->fd, text.data, text.len, 0);
}

/* The same bytes once more, so that the system has to write them again. */
static bool write_again(const struct forward_draft *draft)
{
    char chunk[65536];
    off_t at = 0, end = FORWARD_LABEL_SIZE + draft->length;

    while (at < end) {
        ssize_t n = pread(draft->fd, chunk, sizeof(chunk), at);

        if (n <= 0 || !forward_file_write(draft->fd, chunk, (size_t)n, at))
            return false;
        at += n;
    }
    return true;
}

static bool make_durable(struct forward_draft *draft)
{
    off_t end = FORWARD_LABEL_SIZE + draft->length;

    if (!*draft->key)
        forward_key_end(&draft->hash, draft->key);
    if (ftruncate(draft->fd, end) || !write_label(draft) ||
        (draft->suspect && !write_again(draft)))
        return false;
    draft->suspect = true;
    if (fsync(draft->fd))
        return false;
    draft->suspect = false;
    return true;
}

static bool into_queue(struct forward_draft *draft)
{
    struct forward_spool *spool = draft->spool;
    char name[FORWARD_ITEM_NAME_SIZE];

    forward_item_name(spool->last_number + 1, name);
    if (renameat(spool->queue_fd, draft->name, spool->queue_fd, name))
        return false;
    draft->number = ++spool->last_number;
    return true;
}

enum rc forward_draft_commit(
    struct forward_draft *draft, uint64_t *ret_number, struct err *err)
{
    bool well = draft->number || (make_durable(draft) && into_queue(draft));

    /* A name isn't there for good before its folder is written. */
    if (!well || fsync(draft->spool->queue_fd))
        return err_set(err, RC_BUSY, NULL, "can't write to the spool: %s",
            strerror(errno));
    if (ret_number)
        *ret_number = draft->number;
    forward_draft_free(draft);
    return RC_OK;
}

static enum rc copy_content(const struct forward_item *item,
    struct forward_draft *draft, struct err *err)
{
    char chunk[65536];
    ssize_t n;

    while ((n = pread(item->fd, chunk, sizeof(chunk),
                FORWARD_LABEL_SIZE + draft->length)) != 0) {
        if (n < 0)
            return err_set(err, RC_BUSY, NULL, "can't read the spool: %s",
                strerror(errno));
        TRY(forward_draft_add(draft, chunk, (size_t)n, err));
    }
    return RC_OK;
}

enum rc forward_spool_relabel(struct forward_spool *spool,
    struct forward_item *item, const char *profile, struct err *err)
{
    struct forward_label label = item->label;
    struct forward_draft *draft;
    enum rc rc;

    snprintf(label.profile, sizeof(label.profile), "%s", profile);
    TRY(forward_draft_new(spool, &label, &draft, err));
    rc = copy_content(item, draft, err);
    if (rc == RC_OK)
        rc = forward_draft_commit(draft, NULL, err);
    if (rc != RC_OK) {
        forward_draft_free(draft);
        return rc;
    }
    forward_spool_done(spool, item);
    return RC_OK;
}

void forward_draft_free(struct forward_draft *draft)
{
    if (!draft)
        return;
    if (draft->fd >= 0)
        close(draft->fd);
    if (!draft->number)
        unlinkat(draft->spool->queue_fd, draft->name, 0);
    free(draft);
}
