#include "instruments/format.h"

#include <string.h>

#include "base/arena.h"
#include "instruments/dicom_file.h"
#include "instruments/dicom_json.h"
#include "instruments/fhir.h"
#include "instruments/native.h"
#include "record/reading.h"

static const struct instruments_format FORMATS[] = {
#define FORMAT(name, media_type, probe, decode)                                \
    {name, media_type, probe, decode},
#include "instruments/formats.def"
#undef FORMAT
};

const struct instruments_format *instruments_format_at(size_t i)
{
    return i < ARRAY_LEN(FORMATS) ? &FORMATS[i] : NULL;
}

const struct instruments_format *instruments_format_of(const char *media_type)
{
    for (size_t i = 0; i < ARRAY_LEN(FORMATS); i++)
        if (strcmp(FORMATS[i].media_type, media_type) == 0)
            return &FORMATS[i];
    return NULL;
}

const struct instruments_format *instruments_format_probe(
    const char *bytes, size_t len)
{
    for (size_t i = 0; i < ARRAY_LEN(FORMATS); i++)
        if (FORMATS[i].probe(bytes, len))
            return &FORMATS[i];
    return NULL;
}

void instruments_zone_assume(
    const struct instruments_zone *zone, struct record_reading *r)
{
    r->offset_assumed = true;
    r->taken_offset_min =
        zone->offset_min ? zone->offset_min(zone->zone, r->taken_us) : 0;
    r->taken_us -= r->taken_offset_min * 60000000LL;
}
