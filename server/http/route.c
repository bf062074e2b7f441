/* http/route.c - the table of routes and the search in it. */
#include <assert.h>
#include <string.h>

#include "http/handlers.h"
#include "http/life.h"

static const struct http_route ROUTES[] = {
#define ROUTE(method, path, handler, roles, flags, action, query)              \
    {method, path, handler, roles, flags, action, query},
#include "http/routes.def"
#undef ROUTE
};

#define SEGMENTS_MAX 8

/* A path cut at its slashes, once at start. */
struct pattern {
    size_t n;
    struct {
        const char *text; /* the literal, or what follows the place holder */
        size_t len;
        enum { LITERAL, ID, WORD } kind;
    } parts[SEGMENTS_MAX];
};

static struct pattern PATTERNS[ARRAY_LEN(ROUTES)];

static void compile(const char *path, struct pattern *p)
{
    while (*path == '/') {
        const char *end;

        path++;
        end = strchrnul(path, '/');
        assert(p->n < SEGMENTS_MAX);
        p->parts[p->n].kind = LITERAL;
        if (strncmp(path, "{id}", 4) == 0)
            p->parts[p->n].kind = ID;
        else if (strncmp(path, "{word}", 6) == 0)
            p->parts[p->n].kind = WORD;
        if (p->parts[p->n].kind != LITERAL)
            path = strchr(path, '}') + 1;
        p->parts[p->n].text = path;
        p->parts[p->n].len = (size_t)(end - path);
        p->n++;
        path = end;
    }
}

void route_compile(void)
{
    for (size_t i = 0; i < ARRAY_LEN(ROUTES); i++) {
        PATTERNS[i].n = 0;
        compile(ROUTES[i].path, &PATTERNS[i]);
    }
}

const struct http_route *route_table(size_t *ret_n)
{
    *ret_n = ARRAY_LEN(ROUTES);
    return ROUTES;
}

/* Takes the place holders into ids when segments fit. */
static bool fits(
    const struct pattern *p, struct http_life *life, const char *ids[3])
{
    size_t n = 0;

    if (p->n != life->n_segments)
        return false;
    for (size_t i = 0; i < p->n; i++) {
        const char *s = life->segments[i];
        size_t len = strlen(s), tail = p->parts[i].len;
        char lower[UUID_TEXT_SIZE];

        if (len < tail || memcmp(s + len - tail, p->parts[i].text, tail) != 0)
            return false;
        if (p->parts[i].kind == LITERAL && len != tail)
            return false;
        if (p->parts[i].kind == WORD && len == tail)
            return false;
        if (p->parts[i].kind == ID && !uuid_parse(s, len - tail, lower))
            return false;
        if (p->parts[i].kind == ID)
            ids[n++] = arena_strdup(life->rq.arena, lower);
        if (p->parts[i].kind == WORD)
            ids[n++] = arena_memdup(life->rq.arena, s, len - tail);
    }
    return true;
}

const struct http_route *route_find(
    struct http_life *life, const char **ret_allow)
{
    const char *allow = NULL;

    for (size_t i = 0; i < ARRAY_LEN(ROUTES); i++) {
        const char *ids[3] = {0};

        if (!fits(&PATTERNS[i], life, ids))
            continue;
        if (strcmp(ROUTES[i].method, life->method) == 0) {
            memcpy(life->rq.ids, ids, sizeof(ids));
            return &ROUTES[i];
        }
        allow = arena_printf(life->rq.arena, "%s%s%s%s", allow ? allow : "",
            allow ? ", " : "", ROUTES[i].method,
            strcmp(ROUTES[i].method, "GET") == 0 ? ", HEAD" : "");
    }
    *ret_allow = allow;
    return NULL;
}
