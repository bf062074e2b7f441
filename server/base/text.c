#include "base/text.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/arena.h"

void text_free(struct text *t)
{
    free(t->data);
    *t = (struct text){0};
}

char *text_space(struct text *t, size_t len)
{
    if (t->room - t->len < len + 1) {
        size_t room = t->room ? t->room * 2 : 256;

        if (room < t->len + len + 1)
            room = t->len + len + 1;
        t->data = xrealloc(t->data, room);
        t->room = room;
    }
    return t->data + t->len;
}

void text_added(struct text *t, size_t len)
{
    t->len += len;
    t->data[t->len] = '\0';
}

void text_put(struct text *t, const void *bytes, size_t len)
{
    char *to = text_space(t, len);

    if (len)
        memcpy(to, bytes, len);
    text_added(t, len);
}

void text_puts(struct text *t, const char *s)
{
    text_put(t, s, strlen(s));
}

void text_putc(struct text *t, char c)
{
    text_put(t, &c, 1);
}

void text_printf(struct text *t, const char *fmt, ...)
{
    char *to = text_space(t, 120);
    va_list ap;
    int len;

    va_start(ap, fmt);
    len = vsnprintf(to, 121, fmt, ap);
    va_end(ap);
    if (len > 120) {
        to = text_space(t, (size_t)len);
        va_start(ap, fmt);
        len = vsnprintf(to, (size_t)len + 1, fmt, ap);
        va_end(ap);
    }
    if (len > 0)
        text_added(t, (size_t)len);
}

char *text_take(struct text *t, size_t *ret_len)
{
    char *data = t->data ? t->data : xcalloc(1, 1);

    if (ret_len)
        *ret_len = t->len;
    *t = (struct text){0};
    return data;
}
