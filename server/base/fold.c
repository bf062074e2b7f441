#include "base/fold.h"

#include <glib.h>
#include <stdbool.h>

#include "base/arena.h"
#include "base/text.h"

char *fold_text(struct arena *arena, const char *s)
{
    gchar *cased = g_utf8_casefold(s, -1);
    gchar *parts = g_utf8_normalize(cased, -1, G_NORMALIZE_ALL);
    TEXT_AUTO t = {0};
    bool gap = false;

    for (const gchar *p = parts ? parts : ""; *p; p = g_utf8_next_char(p)) {
        gunichar c = g_utf8_get_char(p);
        char utf8[6];

        if (g_unichar_ismark(c))
            continue;
        if (!g_unichar_isalnum(c)) {
            gap = t.len > 0;
            continue;
        }
        if (gap)
            text_putc(&t, ' ');
        gap = false;
        text_put(
            &t, utf8, (size_t)g_unichar_to_utf8(g_unichar_tolower(c), utf8));
    }
    g_free(parts);
    g_free(cased);
    return arena_memdup(arena, t.data ? t.data : "", t.len);
}
