#pragma once
/*
 * base/log.h - one JSON object a line on standard error.
 *
 * Only http and main log.  Record ids, never a name or a measurement.
 */
#include <stdarg.h>

enum log_level { LOG_DEBUG, LOG_INFO, LOG_WARNING, LOG_ERROR };

void log_set_level(enum log_level level);

/* A line with the time, the level, the event's word and name-value pairs of
 * text, ended by NULL: log_event(LOG_INFO, "start", "port", "8460", NULL). */
void log_event(enum log_level level, const char *event, ...)
    __attribute__((sentinel));
