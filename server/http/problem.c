/* http/problem.c - RFC 9457 problems. */
#include "base/log.h"
#include "http/life.h"

static const struct {
    int status;
    const char *title;
} STATUS[] = {
    [RC_OK] = {200, "ok"},
    [RC_SYNTAX] = {400, "The request can't be read"},
    [RC_UNAUTHORIZED] = {401, "Nobody is signed in"},
    [RC_FORBIDDEN] = {403, "This user may not do that"},
    [RC_NOT_FOUND] = {404, "There is no such thing here"},
    [RC_METHOD] = {405, "This method does not work here"},
    [RC_NOT_ACCEPTABLE] = {406, "No form that was asked for can be given"},
    [RC_CONFLICT] = {409, "It does not fit what stands"},
    [RC_STALE] = {412, "It was changed meanwhile"},
    [RC_TOO_LARGE] = {413, "The body is too large"},
    [RC_MEDIA_TYPE] = {415, "This kind of body is not taken here"},
    [RC_INVALID] = {422, "The input is wrong"},
    [RC_NEED_MATCH] = {428, "A change needs If-Match"},
    [RC_BUSY] = {503, "Not now"},
    [RC_INTERNAL] = {500, "The service failed"},
};

int problem_status(enum rc rc)
{
    return STATUS[rc].status;
}

static void put_fault(
    struct json_out *o, const char *pointer, const char *detail)
{
    json_out_object(o, NULL);
    json_out_text(o, "pointer", pointer);
    json_out_text(o, "detail", detail);
    json_out_object_end(o);
}

void problem_faults(struct json_out *o, const struct err *err)
{
    json_out_array(o, "errors");
    for (const struct err_fault *f = err->faults; f; f = f->next)
        put_fault(o, f->pointer, f->detail);
    if (!err->faults)
        put_fault(o, "", err->detail);
    json_out_array_end(o);
    if (err->n_faults > ERR_FAULTS_MAX)
        json_out_int(
            o, "more_errors", (int64_t)(err->n_faults - ERR_FAULTS_MAX));
}

void problem_write(struct http_life *life)
{
    const struct err *err = &life->err;
    struct json_out o = JSON_OUT(&life->out);
    const char *word = err->type ? err->type : rc_word(err->rc);

    text_free(&life->out);
    life->status = STATUS[err->rc].status;
    life->type = "application/problem+json";
    life->etag = NULL;
    json_out_object(&o, NULL);
    json_out_text(
        &o, "type", arena_printf(life->rq.arena, "/docs/api#problem-%s", word));
    json_out_text(&o, "title", STATUS[err->rc].title);
    json_out_int(&o, "status", life->status);
    json_out_text(&o, "detail", err->detail);
    json_out_text(&o, "request", life->rq.id);
    if (err->faults)
        problem_faults(&o, err);
    json_out_object_end(&o);
    if (err->rc == RC_BUSY)
        http_header(&life->rq, "Retry-After", "2");
    if (err->rc == RC_UNAUTHORIZED)
        http_header(&life->rq, "WWW-Authenticate", "Bearer");
}
