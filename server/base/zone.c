#include "base/zone.h"

#include <glib.h>
#include <string.h>

#define MINUTE_US INT64_C(60000000)
#define DAY_US (1440 * MINUTE_US)

static GTimeZone *of(const struct zone *zone)
{
    return (GTimeZone *)(uintptr_t)zone;
}

/* Names of the database are relative paths of plain words. */
static bool plain_name(const char *name)
{
    size_t len = strlen(name);

    return len > 0 && *name != '/' && !strstr(name, "..") &&
           strspn(name, "abcdefghijklmnopqrstuvwxyz"
                        "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_+-/") == len;
}

struct zone *zone_new(const char *name)
{
    if (!plain_name(name))
        return NULL;
    return (struct zone *)(void *)g_time_zone_new_identifier(name);
}

void zone_free(struct zone *zone)
{
    if (zone)
        g_time_zone_unref(of(zone));
}

int zone_offset_at(const struct zone *zone, int64_t us)
{
    int interval = g_time_zone_find_interval(
        of(zone), G_TIME_TYPE_UNIVERSAL, us / 1000000);

    return interval < 0 ? 0 : g_time_zone_get_offset(of(zone), interval) / 60;
}

int zone_offset_local(const struct zone *zone, int64_t local_us)
{
    /* Not by glib's own search: it leaves local times that were skipped
     * without an answer, and takes "daylight" for the earlier of two, which
     * it isn't where winter is the changed time. */
    int before = zone_offset_at(zone, local_us - DAY_US);
    int after = zone_offset_at(zone, local_us + DAY_US);

    if (zone_offset_at(zone, local_us - before * MINUTE_US) == before ||
        zone_offset_at(zone, local_us - after * MINUTE_US) != after)
        return before;
    return after;
}
