#include "base/json_out.h"

#include <math.h>
#include <string.h>

#include "base/num.h"

static void put_string(struct text *t, const char *s)
{
    static const char hex[] = "0123456789abcdef";
    const char *run = s;

    text_putc(t, '"');
    for (; *s; s++) {
        unsigned char c = (unsigned char)*s;
        char esc[7] = {'\\', 'u', '0', '0', hex[c >> 4], hex[c & 15], 0};

        if (c >= 0x20 && c != '"' && c != '\\')
            continue;
        text_put(t, run, (size_t)(s - run));
        run = s + 1;
        if (c == '"' || c == '\\') {
            text_putc(t, '\\');
            text_putc(t, (char)c);
        } else if (c == '\n') {
            text_puts(t, "\\n");
        } else {
            text_puts(t, esc);
        }
    }
    text_put(t, run, (size_t)(s - run));
    text_putc(t, '"');
}

/* True when nothing of s needs an escape, as in every key of ours. */
static bool plain(const char *s)
{
    for (; *s; s++)
        if ((unsigned char)*s < 0x20 || *s == '"' || *s == '\\')
            return false;
    return true;
}

static void lead(struct json_out *o, const char *key)
{
    size_t len = key ? strlen(key) : 0;
    char *start = text_space(o->to, len + 4), *to = start;

    if (o->comma)
        *to++ = ',';
    o->comma = true;
    if (key && plain(key)) {
        *to++ = '"';
        memcpy(to, key, len);
        to += len;
        *to++ = '"';
        *to++ = ':';
        key = NULL;
    }
    text_added(o->to, (size_t)(to - start));
    if (key) {
        put_string(o->to, key);
        text_putc(o->to, ':');
    }
}

void json_out_object(struct json_out *o, const char *key)
{
    lead(o, key);
    text_putc(o->to, '{');
    o->comma = false;
}

void json_out_object_end(struct json_out *o)
{
    text_putc(o->to, '}');
    o->comma = true;
}

void json_out_array(struct json_out *o, const char *key)
{
    lead(o, key);
    text_putc(o->to, '[');
    o->comma = false;
}

void json_out_array_end(struct json_out *o)
{
    text_putc(o->to, ']');
    o->comma = true;
}

void json_out_text(struct json_out *o, const char *key, const char *s)
{
    lead(o, key);
    if (s)
        put_string(o->to, s);
    else
        text_puts(o->to, "null");
}

void json_out_int(struct json_out *o, const char *key, int64_t value)
{
    json_out_scaled(o, key, value, 0);
}

void json_out_bool(struct json_out *o, const char *key, bool value)
{
    lead(o, key);
    text_puts(o->to, value ? "true" : "false");
}

void json_out_null(struct json_out *o, const char *key)
{
    json_out_text(o, key, NULL);
}

void json_out_scaled(
    struct json_out *o, const char *key, int64_t value, int places)
{
    char buf[NUM_TEXT_MAX];

    lead(o, key);
    text_puts(o->to, num_text(value, places, buf));
}

void json_out_cd(struct json_out *o, const char *key, int32_t value_cd)
{
    json_out_scaled(o, key, value_cd, 2);
}

void json_out_number(struct json_out *o, const char *key, double x, int places)
{
    char buf[NUM_TEXT_MAX];

    lead(o, key);
    text_puts(o->to, isfinite(x) ? num_trim(x, places, buf) : "null");
}

void json_out_exact(struct json_out *o, const char *key, double x)
{
    char buf[NUM_TEXT_MAX];

    lead(o, key);
    text_puts(o->to, isfinite(x) ? num_shortest(x, buf) : "null");
}

void json_out_raw(
    struct json_out *o, const char *key, const char *json, size_t len)
{
    lead(o, key);
    text_put(o->to, json, len);
}
