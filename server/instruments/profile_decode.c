/* instruments/profile_decode.c - a whole payload through a profile. */
#include <string.h>
#include <strings.h>

#include "instruments/profile_inside.h"

/* ---- rows -------------------------------------------------------------- */

static void keep_faults(struct err *to, const struct err *from)
{
    for (const struct err_fault *f = from->faults; f; f = f->next)
        err_fault(to, f->pointer, "%s", f->detail);
}

static void keep_readings(struct profile_found *found,
    const struct profile_group *group, struct err *err)
{
    size_t n = group->readings.n;

    if (found->n + n > INSTRUMENTS_READINGS_MAX) {
        if (found->n <= INSTRUMENTS_READINGS_MAX)
            err_fault(err, "",
                "line %zu: makes over %d readings; send the rows as text/csv",
                group->line, INSTRUMENTS_READINGS_MAX);
        found->n = INSTRUMENTS_READINGS_MAX + 1;
        return;
    }
    memcpy(found->items + found->n, group->readings.items,
        n * sizeof(*found->items));
    found->n += n;
}

static enum rc rows_decode(
    struct profile_job job, const struct instruments_input *in)
{
    struct profile_rows *rows = profile_rows_new(job.p, job.zone);
    struct profile_group group;
    struct err err = ERR_INIT(job.err->arena);

    job.found->items = arena_calloc(
        job.err->arena, INSTRUMENTS_READINGS_MAX, sizeof(*job.found->items));
    profile_rows_add(rows, in->bytes, in->len);
    profile_rows_end(rows);
    while (job.err->n_faults < ERR_FAULTS_MAX &&
           job.found->n <= INSTRUMENTS_READINGS_MAX &&
           profile_rows_next(rows, &group, &err)) {
        keep_faults(job.err, &err);
        if (group.readings.n)
            keep_readings(job.found, &group, job.err);
        err = (struct err)ERR_INIT(job.err->arena);
    }
    profile_rows_free(rows);
    if (job.found->n == 0 && job.err->rc == RC_OK)
        err_fault(job.err, "", "holds no row");
    return job.err->rc;
}

/* ---- encodings --------------------------------------------------------- */

/* What stands behind encoding= in an XML declaration, in name; "" when there
 * is none. */
static void declared(const struct instruments_input *in, char name[40])
{
    const char *end = memchr(in->bytes, '>', in->len), *at = NULL;
    size_t n = 0;

    if (end && in->len > 5 && memcmp(in->bytes, "<?xml", 5) == 0)
        at = memmem(in->bytes, (size_t)(end - in->bytes), "encoding", 8);
    if (at) {
        at += 8;
        while (at < end && strchr(" \t\r\n=\"'", *at))
            at++;
        while (at + n < end && n < 39 && !strchr(" \t\"'?", at[n])) {
            name[n] = at[n];
            n++;
        }
    }
    name[n] = '\0';
}

/* The encoding that the characters of XML or its declaration show (XML 1.0,
 * appendix F); false when it is one that can't be read. */
static bool xml_encoding(const struct instruments_input *in,
    enum encoding *encoding, struct err *err)
{
    static const struct {
        const char *name;
        enum encoding encoding;
    } NAMES[] = {
        {"utf-8", ENCODING_UTF_8},
        {"us-ascii", ENCODING_UTF_8},
        {"iso-8859-1", ENCODING_LATIN_1},
    };
    char name[40];

    if (in->len >= 2 && memcmp(in->bytes, "<\0", 2) == 0)
        *encoding = ENCODING_UTF_16LE;
    if (in->len >= 2 && memcmp(in->bytes, "\0<", 2) == 0)
        *encoding = ENCODING_UTF_16BE;
    declared(in, name);
    if (!*name)
        return true;
    for (size_t i = 0; i < ARRAY_LEN(NAMES); i++) {
        if (strcasecmp(NAMES[i].name, name) == 0) {
            *encoding = NAMES[i].encoding;
            return true;
        }
    }
    err_set(err, RC_SYNTAX, "",
        "not XML that can be read: its declaration names another encoding "
        "than utf-8 and iso-8859-1");
    return false;
}

static bool text_of(const struct profile *p, const struct instruments_input *in,
    struct encoding_text *ret, struct err *err)
{
    enum encoding encoding = p->encoding;
    size_t mark = encoding_mark(in->bytes, in->len, &encoding);

    if (mark == 0 && p->form == PROFILE_XML &&
        !xml_encoding(in, &encoding, err))
        return false;
    *ret =
        encoding_read(encoding, in->bytes + mark, in->len - mark, err->arena);
    if (ret->s)
        return true;
    err_set(err, RC_SYNTAX, "", "byte %zu can't be read as %s",
        mark + ret->bad_at + 1, ENCODING_WORDS[encoding]);
    return false;
}

static enum rc form_decode(
    struct profile_job job, const struct instruments_input *in)
{
    struct encoding_text text;

    if (profile_by_rows(job.p))
        return rows_decode(job, in);
    if (!text_of(job.p, in, &text, job.err))
        return job.err->rc;
    if (job.p->form == PROFILE_LINES)
        return profile_lines_decode(job, text);
    if (job.p->form == PROFILE_XML)
        return profile_xml_decode(job, text);
    return profile_json_decode(job, text);
}

enum rc profile_decode(const struct profile *profile,
    const struct instruments_input *in, struct instruments_readings *ret,
    struct err *err)
{
    struct profile_found found = {0};
    struct profile_job job = {profile, in->zone, &found, NULL, err};
    enum rc rc;

    if (in->len == 0)
        return err_set(err, RC_SYNTAX, "", "the body is empty");
    job.record = arena_new();
    rc = form_decode(job, in);
    arena_free(job.record);
    if (rc != RC_OK)
        return rc;
    if (found.n > INSTRUMENTS_READINGS_MAX)
        return err_set(err, RC_INVALID, "", "makes %zu readings; %d at most",
            found.n, INSTRUMENTS_READINGS_MAX);
    *ret = (struct instruments_readings){found.items, found.n};
    return RC_OK;
}
