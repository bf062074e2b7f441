/* http/optics_answer.c - POST /v1/optics: from body to answer. */
#include "http/optics_answer.h"

#include <string.h>

#include "base/arena.h"
#include "http/optics_functions.h"

#define ITEMS_MAX 100000

/* What optics.def says of a function's time, and what follows: the body that
 * the loop answers by itself, and the items of one request. */
enum cost { QUICK, SLOW, HISTORY, LONG };

static const struct {
    size_t loop_bytes, items_max;
} COSTS[] = {
    [QUICK] = {8192, ITEMS_MAX},
    [SLOW] = {600, ITEMS_MAX},
    [HISTORY] = {0, ITEMS_MAX},
    [LONG] = {0, 30},
};

struct http_optics {
    const char *name;
    http_optics_fn *fn;
    enum cost cost;
    const char *const *members; /* NULL-ended */
};

static const struct http_optics FUNCTIONS[] = {
#define FUNCTION(name, fn, cost, ...)                                          \
    {name, fn, cost, (const char *const[]){__VA_ARGS__, NULL}},
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

size_t http_optics_loop_bytes(const struct http_optics *f)
{
    return COSTS[f->cost].loop_bytes;
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
    if (!json_in_array(root, 1, COSTS[f->cost].items_max, &n))
        return err->rc;
    json_out_array(&o, NULL);
    for (size_t i = 0; i < n && err->n_faults < ERR_FAULTS_MAX; i++)
        answer_item(f, json_in_item(root, i), &o, err);
    json_out_array_end(&o);
    return err->rc;
}
