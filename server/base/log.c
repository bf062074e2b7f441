#include "base/log.h"

#include <stdio.h>

#include "base/instant.h"
#include "base/json_out.h"

static enum log_level lowest = LOG_INFO;

void log_set_level(enum log_level level)
{
    lowest = level;
}

void log_event(enum log_level level, const char *event, ...)
{
    static const char *const words[] = {"debug", "info", "warning", "error"};
    TEXT_AUTO line = {0};
    struct json_out o = JSON_OUT(&line);
    char at[INSTANT_TEXT_MAX];
    const char *name;
    va_list ap;

    if (level < lowest)
        return;
    json_out_object(&o, NULL);
    json_out_text(&o, "at", instant_text(instant_now_us(), 0, at));
    json_out_text(&o, "level", words[level]);
    json_out_text(&o, "event", event);
    va_start(ap, event);
    while ((name = va_arg(ap, const char *)))
        json_out_text(&o, name, va_arg(ap, const char *));
    va_end(ap);
    json_out_object_end(&o);
    text_putc(&line, '\n');
    fwrite(line.data, 1, line.len, stderr);
}
