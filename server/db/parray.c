#include "db/parray.h"

#include <arpa/inet.h>
#include <endian.h>
#include <math.h>
#include <string.h>

#include "base/num.h"
#include "base/uuid.h"

#define HEAD 20 /* dimensions, has-null, element type, length, first index */
#define EPOCH_2000_US INT64_C(946684800000000)

static void put32(struct text *t, uint32_t v)
{
    v = htonl(v);
    text_put(t, &v, sizeof(v));
}

static void put64(struct parray *a, uint64_t v)
{
    v = htobe64(v);
    parray_bytes(a, &v, sizeof(v));
}

void parray_start(struct parray *a, enum parray_type type)
{
    static const char nothing[HEAD];

    *a = (struct parray){.type = type};
    text_put(&a->bytes, nothing, HEAD);
}

void parray_null(struct parray *a)
{
    put32(&a->bytes, UINT32_MAX);
    a->n++;
}

void parray_bytes(struct parray *a, const void *p, size_t len)
{
    put32(&a->bytes, (uint32_t)len);
    text_put(&a->bytes, p, len);
    a->n++;
}

void parray_text(struct parray *a, const char *s)
{
    if (s)
        parray_bytes(a, s, strlen(s));
    else
        parray_null(a);
}

void parray_uuid(struct parray *a, const char *s)
{
    struct uuid id;

    if (!s || !*s) {
        parray_null(a);
        return;
    }
    id = uuid_from_text(s);
    parray_bytes(a, id.bytes, sizeof(id.bytes));
}

void parray_int(struct parray *a, int32_t v)
{
    uint32_t net = htonl((uint32_t)v);

    if (v == NUM_ABSENT)
        parray_null(a);
    else
        parray_bytes(a, &net, sizeof(net));
}

void parray_real(struct parray *a, double v)
{
    uint64_t bits;

    if (!isfinite(v)) {
        parray_null(a);
        return;
    }
    memcpy(&bits, &v, sizeof(bits));
    put64(a, bits);
}

void parray_time(struct parray *a, int64_t us)
{
    put64(a, (uint64_t)(us - EPOCH_2000_US));
}

void parray_end(struct parray *a)
{
    uint32_t head[5] = {htonl(a->n ? 1 : 0), htonl(1), htonl((uint32_t)a->type),
        htonl(a->n), htonl(1)};

    memcpy(a->bytes.data, head, HEAD);
    if (!a->n)
        a->bytes.len = 12; /* an empty array has no dimensions */
}

void parray_free(struct parray *a)
{
    text_free(&a->bytes);
}
