/*
 * http/pages.c - the pages and what they load.
 *
 * One document holds all pages; which of them is shown stands behind the # of
 * the address, so no patient's id reaches a log.  A file's name holds the hash
 * of its content, so it may be kept for ever; the document may not.
 */
#include "http/pages.h"

#include <stdio.h>
#include <string.h>

#include "http/accept.h"
#include "http/handlers.h"
#include "http/inside.h"

#define FILE_MOST (4 << 20)

/* Own scripts, styles and pictures; no other host, nothing inline. */
static const char POLICY[] =
    "default-src 'none'; script-src 'self'; style-src 'self'; "
    "img-src 'self' blob:; connect-src 'self'; font-src 'self'; "
    "frame-src 'self'; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'";

bool page_name_plain(const char *name)
{
    for (const char *c = name; *c; c++)
        if (!strchr("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ"
                    "0123456789-.",
                *c))
            return false;
    return *name && *name != '.' && !strstr(name, "..");
}

static FILE *open_in(
    struct http_req *rq, const char *dir, const char *name, const char *end)
{
    return fopen(arena_printf(rq->arena, "%s/%s%s", dir, name, end), "re");
}

enum rc page_reply_file(
    struct http_req *rq, const char *dir, const char *name, const char *type)
{
    struct http_life *life = rq->life;
    const char *coding = reply_header_in(life, "Accept-Encoding");
    struct text t = {0};
    char buf[8192];
    size_t n;
    FILE *f = NULL;

    if (coding && accept_takes(coding, "gzip"))
        f = open_in(rq, dir, name, ".gz");
    life->gzip = f != NULL;
    if (!f)
        f = open_in(rq, dir, name, "");
    if (!f)
        return err_set(
            &life->err, RC_NOT_FOUND, NULL, "there is no \"%s\"", name);
    while ((n = fread(buf, 1, sizeof(buf), f)) > 0 && t.len < FILE_MOST)
        text_put(&t, buf, n);
    fclose(f);
    return http_reply_bytes(rq, 200, type, &t);
}

static const char *type_of(const char *name)
{
    static const struct {
        const char *end, *type;
    } types[] = {{".js", "text/javascript; charset=utf-8"},
        {".css", "text/css; charset=utf-8"}, {".svg", "image/svg+xml"}};
    size_t len = strlen(name);

    for (size_t i = 0; i < ARRAY_LEN(types); i++) {
        size_t n = strlen(types[i].end);

        if (len > n && strcmp(name + len - n, types[i].end) == 0)
            return types[i].type;
    }
    return NULL;
}

/* GET / */
enum rc http_page_get(struct http_req *rq, struct err *err)
{
    const char *dir = rq->srv->parts.config->web_dir;

    if (!*dir)
        return err_set(err, RC_NOT_FOUND, NULL,
            "no pages are here; web_dir names no folder");
    http_header(rq, "Content-Security-Policy", POLICY);
    http_header(rq, "Cross-Origin-Opener-Policy", "same-origin");
    http_header(rq, "Cache-Control", "no-cache");
    return page_reply_file(rq, dir, "index.html", "text/html; charset=utf-8");
}

/* GET /assets/{word} */
enum rc http_asset_get(struct http_req *rq, struct err *err)
{
    const char *name = rq->ids[0], *type = type_of(name);
    const char *dir =
        arena_printf(rq->arena, "%s/assets", rq->srv->parts.config->web_dir);

    if (!type || !page_name_plain(name))
        return err_set(err, RC_NOT_FOUND, NULL, "there is no such file");
    TRY(page_reply_file(rq, dir, name, type));
    http_header(rq, "Content-Security-Policy", POLICY);
    http_header(rq, "Cross-Origin-Resource-Policy", "same-origin");
    http_header(rq, "Cache-Control", "public, max-age=31536000, immutable");
    return RC_OK;
}
