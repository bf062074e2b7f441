#include "base/fold.h"

#include <glib.h>
#include <stdbool.h>

#include "base/arena.h"
#include "base/text.h"

/* Letters that people type without the stroke, and that Unicode does not take
 * apart. */
static const struct {
    gunichar letter;
    const char *plain;
} WHOLE[] = {
    {0x00e6, "ae"},
    {0x00f0, "d"},
    {0x00f8, "o"},
    {0x00fe, "th"},
    {0x0111, "d"},
    {0x0127, "h"},
    {0x0131, "i"},
    {0x0142, "l"},
    {0x0153, "oe"},
    {0x0167, "t"},
};

static void put_letter(struct text *t, gunichar c)
{
    char utf8[6];

    for (size_t i = 0; i < ARRAY_LEN(WHOLE); i++) {
        if (WHOLE[i].letter == c) {
            text_puts(t, WHOLE[i].plain);
            return;
        }
    }
    text_put(t, utf8, (size_t)g_unichar_to_utf8(c, utf8));
}

char *fold_text(struct arena *arena, const char *s)
{
    gchar *cased = g_utf8_casefold(s, -1);
    gchar *parts = g_utf8_normalize(cased, -1, G_NORMALIZE_ALL);
    TEXT_AUTO t = {0};
    bool gap = false;

    for (const gchar *p = parts ? parts : ""; *p; p = g_utf8_next_char(p)) {
        gunichar c = g_utf8_get_char(p);

        if (g_unichar_ismark(c))
            continue;
        if (!g_unichar_isalnum(c)) {
            gap = t.len > 0;
            continue;
        }
        if (gap)
            text_putc(&t, ' ');
        gap = false;
        put_letter(&t, g_unichar_tolower(c));
    }
    g_free(parts);
    g_free(cased);
    return arena_memdup(arena, t.data ? t.data : "", t.len);
}
