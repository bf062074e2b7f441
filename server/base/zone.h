#pragma once
/*
 * base/zone.h - named time zones (the system's zoneinfo, by glib).
 */
#include <stdbool.h>
#include <stdint.h>

struct zone;

/* NULL when the system knows no such zone. */
struct zone *zone_new(const char *name);
void zone_free(struct zone *zone);

/* Minutes that the zone was ahead of UTC at an instant. */
int zone_offset_at(const struct zone *zone, int64_t us);

/* The same at a local time (microseconds as if it were UTC); of the two that
 * a clock set back shows, the earlier instant counts, and a time that a clock
 * set ahead left out has the offset before it (RFC 5545, 3.3.5). */
int zone_offset_local(const struct zone *zone, int64_t local_us);
