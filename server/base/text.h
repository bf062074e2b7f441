#pragma once
/*
 * base/text.h - a growable run of bytes, always closed by a NUL.
 *
 * Owns malloc'ed memory until text_free or text_take.  {0} is an empty text.
 * Never fails (see base/arena.h).
 */
#include <stdarg.h>
#include <stddef.h>

struct text {
    char *data; /* NULL while nothing was put */
    size_t len, room;
};

void text_free(struct text *t);
void text_put(struct text *t, const void *bytes, size_t len);
void text_puts(struct text *t, const char *s);
void text_putc(struct text *t, char c);
/* printf; under the C locale (main never sets another). */
void text_printf(struct text *t, const char *fmt, ...)
    __attribute__((format(printf, 2, 3)));
/* Room for len more bytes; returns where they start, text_added commits. */
char *text_space(struct text *t, size_t len);
void text_added(struct text *t, size_t len);
/* Hands the memory over (free with free()) and empties the text. */
char *text_take(struct text *t, size_t *ret_len);

#define TEXT_AUTO __attribute__((cleanup(text_free))) struct text
