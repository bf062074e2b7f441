/* http/optics_answer.c - POST /v1/optics: from body to answer. */
#include "http/optics_answer.h"

#include <string.h>

#include "base/arena.h"
#include "http/optics_functions.h"

#define ITEMS_MAX 100000
/* An item takes 3 to 10 us and over 60 bytes; one of manufacturability, which
 * searches and integrates, up to 0.5 ms and over 250 bytes. */
#define LOOP_BYTES 8192
#define LOOP_BYTES_SLOW 600
/* One of these takes up to 10 ms, and its answer up to 500 kB: none is for the
 * loop, and only so many go into one request. */
#define HEAVY_ITEMS_MAX 30

struct http_optics {
    const char *name;
    http_optics_fn *fn;
    const char *const *members; /* NULL-ended */
};

static const struct http_optics FUNCTIONS[] = {
#define FUNCTION(name, fn, ...)                                                \
    {name, fn, (const char *const[]){__VA_ARGS__, NULL}},
#include "http/optics.def"
#undef FUNCTION
};

const struct http_optics *http_optics_find(const char *name)
{
    for (size_t i = 0; i < ARRAY_LEN(FUNCTIONS); i++)
        if (strcmp(FUNCTIONS[i].name, name) == 0)
            return &FUNCTIONS[i];
    return NULL;
}

static bool is_heavy(const struct http_optics *f)
{
    return f->fn == http_optics_cross_cylinder ||
           f->fn == http_optics_point_spread;
}

/* With a history of 100 entries an item takes up to 5 ms. */
static bool has_history(const struct http_optics *f)
{
    return f->fn == http_optics_eye_exchange ||
           f->fn == http_optics_slip_explanation ||
           f->fn == http_optics_device_bias;
}

size_t http_optics_loop_bytes(const struct http_optics *f)
{
    if (is_heavy(f) || has_history(f))
        return 0;
    return f->fn == http_optics_manufacturability ? LOOP_BYTES_SLOW
                                                  : LOOP_BYTES;
}

/* Answers one item, or adds its faults to err. */
static void answer_item(const struct http_optics *f, struct json_in in,
    struct json_out *o, struct err *err)
{
    struct err own = ERR_INIT(err->arena);

    in.err = &own;
    if (json_in_need(in))
        json_in_object(in, f->members);
    json_out_object(o, NULL);
    if (json_is_object(in.value))
        f->fn(in, o);
    json_out_object_end(o);
    for (const struct err_fault *x = own.faults; x; x = x->next)
        err_fault(err, x->pointer, "%s", x->detail);
}

enum rc http_optics_answer(const struct http_optics *f, const json_t *body,
    struct text *to, struct err *err)
{
    struct json_in root = json_in_root(body, err);
    struct json_out o = JSON_OUT(to);
    size_t n;

    if (!json_is_array(body)) {
        answer_item(f, root, &o, err);
        return err->rc;
    }
    if (!json_in_array(root, 1, is_heavy(f) ? HEAVY_ITEMS_MAX : ITEMS_MAX, &n))
        return err->rc;
    json_out_array(&o, NULL);
    for (size_t i = 0; i < n && err->n_faults < ERR_FAULTS_MAX; i++)
        answer_item(f, json_in_item(root, i), &o, err);
    json_out_array_end(&o);
    return err->rc;
}
