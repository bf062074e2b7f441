#include "print/markup.h"

#include <string.h>

#include "base/text.h"

static const char *reference(char c)
{
    switch (c) {
    case '&':
        return "&amp;";
    case '<':
        return "&lt;";
    case '>':
        return "&gt;";
    case '"':
        return "&quot;";
    default:
        return "&#39;";
    }
}

void markup_text(struct text *out, const char *s)
{
    while (*s) {
        size_t plain = strcspn(s, "&<>\"'");

        text_put(out, s, plain);
        s += plain;
        if (*s)
            text_puts(out, reference(*s++));
    }
}
