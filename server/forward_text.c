#include "forward_text.h"

#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

#include "base/arena.h"

#define WAIT_MS 60000   /* when nothing is due */
#define TROUBLE_MS 2000 /* between tries on a full disk or a lost line */

struct forward_text {
    const struct forward_text_options *options; /* borrowed */
    int fd;
    struct forward_draft *draft; /* of the message that has begun, or NULL */
    bool ending;                 /* draft is whole and has to be committed */
    bool blank;                  /* draft has nothing but blanks so far */
    size_t matched;              /* bytes of the pattern at the draft's end */
    int64_t heard_ms;
    bool ended;
    char chunk[16384]; /* read and not in a draft yet */
    size_t at, len;
};

struct forward_text *forward_text_new(
    const struct forward_text_options *options)
{
    struct forward_text *t = xcalloc(1, sizeof(*t));

    t->options = options;
    t->fd = -1;
    return t;
}

void forward_text_free(struct forward_text *text)
{
    if (!text)
        return;
    forward_draft_free(text->draft);
    if (text->fd > STDERR_FILENO)
        close(text->fd);
    free(text);
}

int forward_text_fd(const struct forward_text *text)
{
    return text->ended || text->at < text->len || text->ending ? -1 : text->fd;
}

/* ---- the line --------------------------------------------------------- */

static speed_t speed_of(int bits)
{
    static const struct {
        int bits;
        speed_t speed;
    } speeds[] = {{300, B300}, {600, B600}, {1200, B1200}, {2400, B2400},
        {4800, B4800}, {9600, B9600}, {19200, B19200}, {38400, B38400},
        {57600, B57600}, {115200, B115200}, {230400, B230400}};

    for (size_t i = 0; i < ARRAY_LEN(speeds); i++)
        if (speeds[i].bits == bits)
            return speeds[i].speed;
    return B0;
}

static bool line_set(int fd, const struct forward_line *line)
{
    speed_t speed = speed_of(line->bits);
    struct termios tio;

    if (speed == B0) {
        errno = EINVAL;
        return false;
    }
    if (tcgetattr(fd, &tio))
        return false;
    cfmakeraw(&tio);
    tio.c_cflag &= ~(tcflag_t)(CSIZE | PARENB | PARODD | CSTOPB | CRTSCTS);
    tio.c_cflag |= CREAD | CLOCAL | (line->data == 7 ? CS7 : CS8);
    if (line->parity != 'N')
        tio.c_cflag |= PARENB;
    if (line->parity == 'O')
        tio.c_cflag |= PARODD;
    if (line->stop == 2)
        tio.c_cflag |= CSTOPB;
    tio.c_cc[VMIN] = 1;
    tio.c_cc[VTIME] = 0;
    return cfsetispeed(&tio, speed) == 0 && cfsetospeed(&tio, speed) == 0 &&
           tcsetattr(fd, TCSANOW, &tio) == 0;
}

static enum rc line_open(struct forward_text *t, struct err *err)
{
    const struct forward_text_options *o = t->options;

    if (!o->device) {
        t->fd = STDIN_FILENO;
        return RC_OK;
    }
    t->fd = open(o->device, O_RDONLY | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (t->fd >= 0 && line_set(t->fd, &o->line))
        return RC_OK;
    err_set(err, RC_BUSY, NULL, "can't open the serial line %s: %s", o->device,
        strerror(errno));
    if (t->fd >= 0)
        close(t->fd);
    t->fd = -1;
    return RC_BUSY;
}

/* Reads into chunk; RC_BUSY when a serial line is gone, which may come back. */
static enum rc line_read(
    struct forward_text *t, int64_t now_ms, struct err *err)
{
    struct pollfd look = {.fd = t->fd, .events = POLLIN};
    ssize_t n;

    if (poll(&look, 1, 0) == 0)
        return RC_OK;
    n = read(t->fd, t->chunk, sizeof(t->chunk));
    if (n < 0 && (errno == EAGAIN || errno == EINTR))
        return RC_OK;
    if (n > 0) {
        t->at = 0;
        t->len = (size_t)n;
        t->heard_ms = now_ms;
        return RC_OK;
    }
    if (!t->options->device) {
        t->ended = true;
        return n == 0
                   ? RC_OK
                   : err_set(err, RC_BUSY, NULL,
                         "can't read the standard input: %s", strerror(errno));
    }
    err_set(err, RC_BUSY, NULL, "the serial line %s is gone: %s",
        t->options->device, n == 0 ? "it was closed" : strerror(errno));
    close(t->fd);
    t->fd = -1;
    return RC_BUSY;
}

/* ---- messages --------------------------------------------------------- */

/* How many bytes of s belong to the message, to the end of its pattern when
 * that comes (*ret_ends).  The pattern may stand across two chunks. */
static size_t message_part(
    struct forward_text *t, const char *s, size_t len, bool *ret_ends)
{
    const char *pattern = t->options->pattern;
    size_t want = t->options->pattern_len;

    *ret_ends = false;
    for (size_t i = 0; want > 0 && i < len; i++) {
        /* Falls back to the longest start of the pattern that still fits. */
        while (t->matched > 0 && pattern[t->matched] != s[i]) {
            size_t shorter = t->matched - 1;

            while (
                shorter > 0 &&
                memcmp(pattern, pattern + t->matched - shorter, shorter) != 0)
                shorter--;
            t->matched = shorter;
        }
        t->matched += pattern[t->matched] == s[i];
        if (t->matched == want) {
            *ret_ends = true;
            t->matched = 0;
            return i + 1;
        }
    }
    return len;
}

static bool all_blank(const char *s, size_t len)
{
    for (size_t i = 0; i < len; i++)
        if (s[i] != ' ' && s[i] != '\t' && s[i] != '\r' && s[i] != '\n')
            return false;
    return true;
}

/* The end of a message; blanks between two are none. */
static enum rc message_end(
    struct forward_text *t, struct forward_text_news *news, struct err *err)
{
    if (!t->blank) {
        TRY(forward_draft_commit(t->draft, NULL, err));
        news->taken++;
    } else {
        forward_draft_free(t->draft);
    }
    t->draft = NULL;
    t->ending = false;
    t->matched = 0;
    return RC_OK;
}

/* Chunk to drafts, as many messages as it holds. */
static enum rc chunk_spool(struct forward_text *t, struct forward_spool *spool,
    struct forward_text_news *news, struct err *err)
{
    while (t->at < t->len) {
        size_t matched = t->matched, part;
        const char *s = t->chunk + t->at;
        enum rc rc;
        bool ends;

        if (!t->draft) {
            TRY(forward_draft_new(spool, &t->options->label, &t->draft, err));
            t->blank = true;
        }
        part = message_part(t, s, t->len - t->at, &ends);
        rc = forward_draft_add(t->draft, s, part, err);
        if (rc != RC_OK) {
            t->matched = matched;
            return rc;
        }
        t->blank = t->blank && all_blank(s, part);
        t->at += part;
        t->ending = ends;
        if (ends)
            TRY(message_end(t, news, err));
    }
    return RC_OK;
}

/* Silence, or the input's end. */
static bool silent(const struct forward_text *t, int64_t now_ms)
{
    int64_t idle = t->options->idle_ms;

    return t->draft && (t->ended || (idle > 0 && now_ms - t->heard_ms >= idle));
}

static enum rc step(struct forward_text *t, struct forward_spool *spool,
    int64_t now_ms, struct forward_text_news *news, struct err *err)
{
    enum rc lost = RC_OK;

    if (t->ending)
        TRY(message_end(t, news, err));
    TRY(chunk_spool(t, spool, news, err));
    if (t->fd < 0)
        lost = line_open(t, err);
    if (lost == RC_OK && !t->ended)
        lost = line_read(t, now_ms, err);
    TRY(chunk_spool(t, spool, news, err));
    t->ending = t->ending || silent(t, now_ms);
    if (t->ending)
        TRY(message_end(t, news, err));
    return lost;
}

enum rc forward_text_step(struct forward_text *text,
    struct forward_spool *spool, int64_t now_ms, struct forward_text_news *ret,
    struct err *err)
{
    enum rc rc;

    *ret = (struct forward_text_news){.due_ms = now_ms + WAIT_MS};
    rc = step(text, spool, now_ms, ret, err);
    if (rc != RC_OK)
        ret->due_ms = now_ms + TROUBLE_MS;
    if (text->draft && text->options->idle_ms > 0 && rc == RC_OK)
        ret->due_ms = text->heard_ms + text->options->idle_ms;
    ret->between = !text->draft && text->at == text->len;
    ret->ended = text->ended && ret->between;
    return rc;
}
