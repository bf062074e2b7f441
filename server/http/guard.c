/* http/guard.c - requests whose framing two readers could read differently. */
#include <string.h>
#include <strings.h>

#include "http/life.h"

struct framing {
    int lengths, encodings, hosts;
    bool chunked, control, broken;
    unsigned once; /* bits of ONCE that were seen */
    const char *twice;
};

/* Of two, one reader takes the first and another the last. */
static const char *const ONCE[] = {"Authorization", "Content-Type",
    "Content-Encoding", "Idempotency-Key", "If-Match", "Origin"};

static void see_once(struct framing *f, const char *name)
{
    for (unsigned i = 0; i < ARRAY_LEN(ONCE); i++) {
        if (strcasecmp(name, ONCE[i]) != 0)
            continue;
        if (f->once & 1u << i)
            f->twice = ONCE[i];
        f->once |= 1u << i;
    }
}

/* RFC 9110, 5.6.2; a blank before the colon would belong to the name. */
static bool is_token(const char *name)
{
    return *name && name[strspn(name, "!#$%&'*+-.^_`|~0123456789"
                                      "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
                                      "abcdefghijklmnopqrstuvwxyz")] == '\0';
}

static enum MHD_Result see(void *cls, enum MHD_ValueKind kind, const char *name,
    size_t name_len, const char *value, size_t value_len)
{
    struct framing *f = cls;

    (void)kind;
    if (strlen(name) != name_len || (value && strlen(value) != value_len))
        f->control = true; /* a NUL hides the rest from C */
    f->broken = f->broken || !is_token(name);
    for (size_t i = 0; value && i < value_len; i++)
        if (((unsigned char)value[i] < 0x20 && value[i] != '\t') ||
            value[i] == 0x7f)
            f->control = true;
    see_once(f, name);
    if (strcasecmp(name, "Content-Length") == 0)
        f->lengths++;
    if (strcasecmp(name, "Host") == 0)
        f->hosts++;
    if (strcasecmp(name, "Transfer-Encoding") == 0) {
        f->encodings++;
        f->chunked = value && strcasecmp(value, "chunked") == 0;
    }
    return MHD_YES;
}

const char *guard_fault(struct http_life *life)
{
    struct framing f = {0};

    MHD_get_connection_values_n(life->con, MHD_HEADER_KIND, see, &f);
    if (f.control)
        return "a header holds a control character";
    if (f.broken)
        return "a header's name is none";
    if (f.lengths + f.encodings > 1)
        return "the length of the body is told more than once";
    if (f.encodings && !f.chunked)
        return "the only transfer coding taken is chunked";
    if (f.hosts != 1)
        return "there must be one Host header";
    if (f.twice)
        return arena_printf(
            life->rq.arena, "the header %s stands twice", f.twice);
    return NULL;
}
