#include "base/zone.h"

#include <glib.h>

static GTimeZone *of(const struct zone *zone)
{
    return (GTimeZone *)(uintptr_t)zone;
}

struct zone *zone_new(const char *name)
{
    return (struct zone *)(void *)g_time_zone_new_identifier(name);
}

void zone_free(struct zone *zone)
{
    if (zone)
        g_time_zone_unref(of(zone));
}

static int offset(const struct zone *zone, GTimeType type, int64_t us)
{
    int interval = g_time_zone_find_interval(of(zone), type, us / 1000000);

    return interval < 0 ? 0 : g_time_zone_get_offset(of(zone), interval) / 60;
}

int zone_offset_at(const struct zone *zone, int64_t us)
{
    return offset(zone, G_TIME_TYPE_UNIVERSAL, us);
}

int zone_offset_local(const struct zone *zone, int64_t local_us)
{
    /* "Daylight" asks for the interval before the clock was set back. */
    return offset(zone, G_TIME_TYPE_DAYLIGHT, local_us);
}
