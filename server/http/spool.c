#include "http/spool.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <unistd.h>

#include "base/arena.h"

#define BLOCK 16384 /* bytes that are sent at once */

static int new_file(void)
{
    const char *dir = getenv("TMPDIR");

    return open(dir && *dir ? dir : "/tmp", O_TMPFILE | O_RDWR | O_CLOEXEC,
        S_IRUSR | S_IWUSR);
}

static void write_out(struct spool *s)
{
    size_t done = 0;

    if (s->fd < 0)
        s->fd = new_file();
    while (s->fd >= 0 && done < s->text.len) {
        ssize_t n = write(s->fd, s->text.data + done, s->text.len - done);

        if (n < 0 && errno == EINTR)
            continue;
        if (n < 0)
            break;
        done += (size_t)n;
    }
    s->failed = s->fd < 0 || done < s->text.len;
    s->size += done;
    s->text.len = 0;
}

void spool_settle(struct spool *s)
{
    if (s->failed)
        s->text.len = 0;
    else if (s->text.len > SPOOL_MEMORY)
        write_out(s);
}

void spool_end(struct spool *s)
{
    if (s->fd >= 0 && !s->failed)
        write_out(s);
}

void spool_free(struct spool *s)
{
    text_free(&s->text);
    if (s->fd >= 0)
        close(s->fd);
    s->fd = -1;
}

/* ---- sending ---------------------------------------------------------- */

struct sending {
    int fd;
    void (*moved)(void *arg);
    void *arg;
};

static ssize_t read_block(void *cls, uint64_t at, char *buf, size_t most)
{
    const struct sending *out = cls;
    ssize_t n = pread(out->fd, buf, most, (off_t)at);

    if (n <= 0)
        return MHD_CONTENT_READER_END_WITH_ERROR;
    out->moved(out->arg);
    return n;
}

static void sent(void *cls)
{
    struct sending *out = cls;

    close(out->fd);
    free(out);
}

struct MHD_Response *spool_response(
    struct spool *s, void (*moved)(void *arg), void *arg)
{
    struct sending *out = xmalloc(sizeof(*out));
    struct MHD_Response *r;

    *out = (struct sending){s->fd, moved, arg};
    s->fd = -1;
    r = MHD_create_response_from_callback(
        s->size, BLOCK, read_block, out, sent);
    if (!r)
        sent(out);
    return r;
}
